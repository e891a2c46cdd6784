"""Plain functions of the sample data, compiled by numba where it is installed."""

import importlib
import importlib.util
from collections.abc import Callable
from functools import cache
from types import FunctionType
from typing import Any


def numba_installed() -> bool:
    """True where numba can be imported."""
    return importlib.util.find_spec("numba") is not None


@cache
def compiled(function: FunctionType, kept_in: str = "") -> Callable[..., Any]:
    """`function` compiled by numba, together with the plain functions of sample data it calls.

    The source stays ordinary Python: the same functions run uncompiled, and a test holds the two
    against each other. `kept_in` is a folder for the machine code, whose name must change with the
    source (numba looks at one file only); empty: compiled anew in every process. Raises
    ModuleNotFoundError where numba is not installed.
    """
    package = __name__.partition(".")[0]
    space = dict(function.__globals__)
    for name in function.__code__.co_names:
        called = space.get(name)
        if isinstance(called, FunctionType) and called.__module__.startswith(package):
            space[name] = compiled(called, kept_in)
    copy = FunctionType(function.__code__, space, function.__name__, function.__defaults__)
    numba = importlib.import_module("numba")
    if kept_in:
        numba.config.CACHE_DIR = kept_in
    result: Callable[..., Any] = numba.njit(copy, cache=bool(kept_in))
    return result

"""The options that verbs share, and what they say on standard error."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self, TypeVar

import click

from pipeline.terminal import shown, visible

Verb = TypeVar("Verb", bound=Callable[..., Any])


def common(*names: str) -> Callable[[Verb], Verb]:
    """The common options of these names, as a decorator; the verb gets each by its name.

    units : 'us' or 'si'; json : `as_json`, only JSON on standard output; strict : exit 1 when
    something was rejected, not given or untrusted; quiet : no progress and no notes; redact :
    the site's name, address and notes left out; memory : how much tables may hold, as DuckDB
    takes it, or None
    """

    def with_options(verb: Verb) -> Verb:
        for name in reversed(names):
            verb = _OPTIONS[name](verb)
        return verb

    return with_options


def answer(text: str) -> None:
    """Give the answer, or a part of it, as text: on standard output."""
    click.echo(shown(text))


def say(text: str) -> None:
    """Say something beside the answer: on standard error."""
    click.echo(visible(text), err=True)


class Progress:
    """Steps on standard error, each over the one before; nothing unless that is a terminal.

    Use as a context: the last step is wiped away at its end.
    """

    def __init__(self, quiet: bool = False) -> None:
        self._is_shown = not quiet and sys.stderr.isatty()

    def step(self, text: str) -> None:
        """Show what is being done."""
        if self._is_shown:
            click.echo(f"\r\x1b[2K{visible(text)[:78]}", err=True, nl=False)

    def __enter__(self) -> Self:
        """The progress itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Wipe the last step away."""
        self.step("")


def _only_dash(context: click.Context, option: click.Parameter, value: str | None) -> bool:
    if value not in (None, "-"):
        raise click.BadParameter("only - is possible: JSON goes to standard output")
    return value == "-"


_SIZE = re.compile(r"(\d+) *([MG])i?B", re.IGNORECASE)
_LEAST_MEMORY_MB = 256
"""Under this DuckDB gives up on a year of one-minute rows instead of spilling."""


def _memory(context: click.Context, option: click.Parameter, value: str | None) -> str | None:
    if value is None:
        return None
    size = _SIZE.fullmatch(value.strip())
    megabytes = int(size[1]) * (1000 if size[2].upper() == "G" else 1) if size else 0
    if megabytes < _LEAST_MEMORY_MB:
        raise click.BadParameter(f"a size such as 800MB or 4GB, {_LEAST_MEMORY_MB}MB at least")
    return f"{megabytes}MB"


_OPTIONS: dict[str, Callable[[Any], Any]] = {
    "units": click.option(
        "--units",
        type=click.Choice(["us", "si"]),
        default="us",
        show_default=True,
        help="°F and in. w.c., or °C and Pa.",
    ),
    "json": click.option(
        "--json",
        "as_json",
        metavar="-",
        callback=_only_dash,
        help="Only JSON on standard output.",
    ),
    "strict": click.option(
        "--strict",
        is_flag=True,
        help="Exit with 1 when something was rejected, not given or untrusted.",
    ),
    "quiet": click.option("--quiet", is_flag=True, help="No progress and no notes."),
    "memory": click.option(
        "--memory",
        metavar="SIZE",
        callback=_memory,
        help="Tables hold at most this, such as 2GB; the rest lies in a temporary file.",
    ),
    "redact": click.option(
        "--redact", is_flag=True, help="Leave the site's name, address and notes out."
    ),
}

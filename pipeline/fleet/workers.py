"""The same work on many items: in this process, in several, or on a cluster (`cluster`).

Workers are given paths and return rows; what they hold goes with them. A worker that dies takes
nothing along but the item it was at: that one is tried again by itself, and given up if it kills
its worker a second time.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Protocol, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


class Each(Protocol):
    """`each` with the question answered of who does it."""

    def __call__(
        self,
        work: Callable[[Item], Result],
        items: Sequence[Item],
        *,
        lost: Callable[[Item], Result],
    ) -> Iterator[tuple[Item, Result]]:
        """Every item with its result, as they get done."""
        ...


@contextmanager
def crew(folder: Path, jobs: int, scheduler: str = "") -> Iterator[Each]:
    """Who does the work: `jobs` processes, or the cluster whose scheduler's address is given.

    folder : of the fleet, which a cluster's workers must see as well
    Raises InputError for a cluster that does not answer or cannot do this work.
    """
    if not scheduler:
        yield partial(each, jobs=jobs)
        return
    from pipeline.fleet.cluster import Cluster

    with Cluster(scheduler, folder) as cluster:
        yield cluster.each


def each(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    jobs: int,
    lost: Callable[[Item], Result],
) -> Iterator[tuple[Item, Result]]:
    """Every item with its result, as they get done; in the items' order with one job.

    work : a function of a module, so that another process finds it
    lost : the result of an item that kills its worker

    Once the caller stops asking nothing more is begun.
    """
    if jobs <= 1 or len(items) <= 1:
        for item in items:
            yield item, work(item)
        return
    left = list(items)
    while left:
        done: list[Item] = []
        flying: list[Item] = []
        try:
            for item, result in _in_pool(work, left, jobs, flying):
                done.append(item)
                yield item, result
            return
        except BrokenProcessPool:
            suspects = [item for item in flying if item not in done]
            left = [item for item in left if item not in done and item not in suspects]
            for item in suspects:
                yield item, alone(work, item, lost)


def alone(work: Callable[[Item], Result], item: Item, lost: Callable[[Item], Result]) -> Result:
    """The item's result from a process of its own; what `lost` gives if that one dies."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        try:
            return pool.submit(work, item).result()
        except BrokenProcessPool:
            return lost(item)


def _in_pool(
    work: Callable[[Item], Result], items: Sequence[Item], jobs: int, flying: list[Item]
) -> Iterator[tuple[Item, Result]]:
    """As each, in `jobs` processes; `flying` always names what has been begun and not returned."""
    pool = ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"))
    pending: dict[Future[Result], Item] = {}
    waiting = iter(items)
    try:
        while True:
            for item in waiting:
                pending[pool.submit(work, item)] = item
                flying.append(item)
                if len(pending) >= 2 * jobs:
                    break
            if not pending:
                return
            for future in wait(pending, return_when=FIRST_COMPLETED).done:
                item = pending[future]
                result = future.result()
                del pending[future]
                flying.remove(item)
                yield item, result
    finally:
        pool.shutdown(wait=False, cancel_futures=True)

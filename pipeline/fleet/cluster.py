"""The same work on many items, sent to an existing Dask cluster whose workers see the same folder.

As `workers.each`, which does it with processes of this machine; the pieces of work are the same,
and so are the results. A worker that dies takes nothing along: the scheduler gives what it was at
to another one, and an item that has killed as many as the scheduler allows is given up as `lost`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self, TypeVar

from pipeline import __version__
from pipeline.errors import InputError

if TYPE_CHECKING:
    from distributed import Client, Future

Item = TypeVar("Item")
Result = TypeVar("Result")
ANSWERS_WITHIN_S = 15
"""How long a scheduler, and its first worker, may take to answer."""
AHEAD = 2
"""Items given to the cluster for each thread of its workers: enough that none waits, few enough
that what is finished does not pile up unread."""


class Cluster:
    """A connection to a scheduler; as a context, closed at its end, whatever it was at given up.

    Raises InputError where nobody answers at the address, where no worker is there, and where a
    worker cannot do this work: another version of zonetrail, or it does not see the folder.
    """

    def __init__(self, address: str, folder: Path) -> None:
        self._client = _client(address)
        try:
            _refuse_unfit(self._client, address, folder)
        except BaseException:
            self._client.close()
            raise

    def __enter__(self) -> Self:
        """The cluster itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave the cluster as it was."""
        self._client.close()

    def each(
        self,
        work: Callable[[Item], Result],
        items: Sequence[Item],
        lost: Callable[[Item], Result],
    ) -> Iterator[tuple[Item, Result]]:
        """Every item with its result, as they get done; see `workers.each`."""
        from distributed import KilledWorker, as_completed

        waiting = iter(items)
        pending: dict[Future, Item] = {}

        def begin() -> Future | None:
            for item in waiting:
                # not pure: the same item asked for again is work to be done again
                future = self._client.submit(work, item, pure=False)
                pending[future] = item
                return future
            return None

        n_ahead = AHEAD * max(sum(self._client.nthreads().values()), 1)
        first = [future for _ in range(n_ahead) if (future := begin()) is not None]
        running = as_completed(first, loop=self._client.loop)
        for future in running:
            item = pending.pop(future)
            try:
                result = future.result()
            except KilledWorker:
                result = lost(item)
            except (OSError, CancelledError) as error:
                raise InputError(
                    "the Dask cluster is gone",
                    found=str(error).splitlines()[0] if str(error) else type(error).__name__,
                    expected="a scheduler that stays until the run is over",
                    hint="run again: it goes on where it stopped",
                ) from error
            future.release()
            following = begin()
            if following is not None:
                running.add(following)
            yield item, result


def _client(address: str) -> Client:
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError(
            "--scheduler needs Dask, which is not installed",
            expected="pip install 'zonetrail[cluster]', here and where the workers run",
        ) from error
    try:
        client = Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
        client.wait_for_workers(1, timeout=ANSWERS_WITHIN_S)
    except (OSError, ValueError) as error:  # a timeout is an OSError
        raise InputError(
            "no Dask cluster with a worker answers there",
            found=f"{address}: {str(error).splitlines()[0] if str(error) else 'no answer'}",
            expected="the address of a scheduler that has workers, such as tcp://10.0.0.5:8786",
            hint="start them: dask scheduler; dask worker ADDRESS --nthreads 1 on each machine",
        ) from error
    return client


def about(folder: str) -> tuple[str, bool]:
    """What a worker says of itself: its version of zonetrail, and whether it sees the folder."""
    return __version__, Path(folder).is_dir()


def _refuse_unfit(client: Client, address: str, folder: Path) -> None:
    said = client.run(about, str(folder), on_error="return")
    for worker, answer in sorted(said.items()):
        if isinstance(answer, Exception):
            found = f"{worker} cannot run it: {str(answer).splitlines()[0]}"
        elif answer[0] != __version__:
            found = f"{worker} has zonetrail {answer[0]}"
        elif not answer[1]:
            found = f"{worker} sees no folder {folder}"
        else:
            continue
        raise InputError(
            f"a worker of {address} cannot do this work",
            found=found,
            expected=f"zonetrail {__version__} installed, and the fleet's folder under one path for"
            " every worker and for this machine",
        )

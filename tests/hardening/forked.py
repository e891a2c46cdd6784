"""Commands in children of this process, whose libraries are loaded once; ended on purpose or not.

The process that forks must not have opened DuckDB itself: its threads do not come along.
"""

from __future__ import annotations

import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

FAULT = 3
# What a run does to files and to the database: one is ended just before any of them.
STEPS = frozenset({"execute", "executemany", "register", "replace", "rename", "unlink", "write"})


def load_libraries(only_load: bool = False) -> None:
    """Import what every command needs, so that a child costs its work alone."""

    if only_load:
        return

    import reports.fleet
    import reports.fleet_site
    import reports.site  # noqa: F401


@dataclass
class Child:
    """A running command; `said` is where its standard error goes."""

    pid: int
    said: Path

    def wait(self) -> int:
        """Its exit code, or the negative number of the signal that ended it."""
        _, status = os.waitpid(self.pid, 0)
        return os.waitstatus_to_exitcode(status)

    def ended_within(self, seconds: float) -> int | None:
        """Its exit code if it ended by itself in this time; else it is killed, and None."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.002)
        os.kill(self.pid, signal.SIGKILL)
        self.wait()
        return None


def start(arguments: list[Any], said: Path, before: Callable[[], None] | None = None) -> Child:
    """`zonetrail` with these arguments, in a child; `before` runs in it first."""
    pid = os.fork()
    if pid:
        return Child(pid, said)
    code = FAULT
    try:
        with said.open("w", encoding="utf-8") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
            from pipeline.cli import zonetrail
            from pipeline.guard import run_command

            if before is not None:
                before()
            code = run_command(zonetrail, [str(a) for a in arguments])
            sys.stdout.flush()
            sys.stderr.flush()
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def run(arguments: list[Any], said: Path, before: Callable[[], None] | None = None) -> int:
    """The exit code of `zonetrail` with these arguments."""
    return start(arguments, said, before).wait()


def ended_before_step(number: int) -> Callable[[], None]:
    """For `before`: the process kills itself just before its step of that number."""

    def install() -> None:
        left = number

        def on_event(frame: FrameType, event: str, arg: Any) -> None:
            nonlocal left
            if event == "c_call" and arg.__name__ in STEPS:
                left -= 1
                if left < 0:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.setprofile(on_event)

    return install


def counting_steps(to: Path) -> Callable[[], None]:
    """For `before`: the number of steps is written to a file as the process ends."""

    def install() -> None:
        count = 0

        def on_event(frame: FrameType, event: str, arg: Any) -> None:
            nonlocal count
            if event == "c_call" and arg.__name__ in STEPS:
                count += 1
                if count % 5 == 0:
                    sys.setprofile(None)
                    to.write_text(str(count), encoding="utf-8")
                    sys.setprofile(on_event)

        sys.setprofile(on_event)

    return install

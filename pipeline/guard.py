"""The one place that catches: what a user caused becomes a message, what we caused a short one.

Exit codes: 0 done; 1 done, but something was rejected, not given or untrusted and --strict was
given; 2 the command could not be understood, or what it was given cannot be used; 3 a fault of
ours, with the trace in a file.
"""

from __future__ import annotations

import os
import sys
import tempfile
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import click

from pipeline import __version__
from pipeline.errors import UserError
from pipeline.terminal import visible

DONE, NOT_CLEAN, CANNOT, FAULT = 0, 1, 2, 3
Result = TypeVar("Result")


def run_command(command: click.Command, arguments: list[str] | None = None) -> int:
    """The exit code of a command line; every error has become a message on standard error."""
    try:
        code = command.main(args=arguments, prog_name="zonetrail", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else DONE
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else DONE
    except click.Abort:
        _say("stopped")
        return CANNOT
    except click.ClickException as error:
        error.show(sys.stderr)
        return CANNOT
    except UserError as error:
        _say(str(error))
        return CANNOT
    except BrokenPipeError:
        # The reader of our output (head, a pager) has gone; nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        _say("stopped")
        return CANNOT
    except Exception as error:
        _say(fault_message(error))
        return FAULT


@dataclass(frozen=True)
class Outcome(Generic[Result]):
    """One site's result, or the message why there is none."""

    result: Result | None
    message: str | None


def run_site(work: Callable[[], Result]) -> Outcome[Result]:
    """The outcome of one site of a fleet: a site that fails does not stop the others."""
    try:
        return Outcome(work(), None)
    except UserError as error:
        return Outcome(None, str(error))
    except Exception as error:
        return Outcome(None, fault_message(error))


def fault_message(error: Exception) -> str:
    """A short message for a fault of ours; the trace is written to a file that it names."""
    lines = traceback.format_exception(error)
    last = lines[-1].strip().splitlines()[0]
    text = f"zonetrail {__version__}, Python {sys.version.split()[0]}\n\n{''.join(lines)}"
    try:
        handle, name = tempfile.mkstemp(prefix="zonetrail-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
    except OSError:
        name = "(no file could be written)"
    return (
        f"This is a fault in zonetrail, not in what you gave it: {last}\n"
        f"  trace:    {name}\n"
        "  next:     send the trace with the export that caused it"
    )


def _say(text: str) -> None:
    click.echo(visible(text), err=True)

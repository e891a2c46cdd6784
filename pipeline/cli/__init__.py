"""The command line: one module per verb, found by its file name, imported only when needed.

A verb's module defines `command`, a click command, and imports what is slow inside it; the common
options stand in options.py. A new verb is a new file.
"""

from __future__ import annotations

import importlib
import io
import os
import pkgutil
import sys

import click

from pipeline import __version__
from pipeline.guard import run_command

# The order of the job, for the list of verbs; a verb that is not named here comes last.
_ORDER = (
    *("demo", "inspect", "load", "review", "ticket", "compare", "replay", "fleet", "plan"),
    *("export", "stages"),
)
# Modules in this folder that are no verbs.
_NO_VERBS = frozenset({"options", "files"})


class Verbs(click.Group):
    """The verbs in this folder."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the verbs, in the order of the job."""
        found = {m.name for m in pkgutil.iter_modules(__path__)} - _NO_VERBS
        found = {name for name in found if not name.startswith("_")}
        return [v for v in _ORDER if v in found] + sorted(found - set(_ORDER))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb of that name; None if there is none."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command = importlib.import_module(f"{__name__}.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command


@click.group(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="zonetrail")
def zonetrail() -> None:
    """From a zone system's logger exports to evidence: what ran, what tripped, and why.

    \b
    zonetrail demo            the whole job on the sample site and the sample fleet
    zonetrail review SITE     the job on your own: a folder with exports/ and site.toml

    Exit codes: 0 done; 1 done, but not clean, and --strict was given; 2 not possible, and the
    message says what would be right; 3 a fault of ours.
    """


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its code."""
    if os.environ.get("NO_COLOR"):
        zonetrail.context_settings["color"] = False  # click then strips colours everywhere
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # one that cannot write a sign writes its code
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run_command(zonetrail, arguments))

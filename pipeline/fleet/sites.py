"""The sites of a fleet: every folder with a site.toml, at any depth."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError
from pipeline.guard import run_site
from pipeline.site import SITE_FILE, Site
from pipeline.site_reader import read_site

NOT_ENTERED = frozenset({"exports", "report"})
"""Folders of a site in which no other site lies."""


@dataclass(frozen=True)
class Found:
    """One site folder of a fleet.

    key : the site's id; of a site file that cannot be read, the folder's path below the fleet
    folder : below the fleet's folder, with forward slashes
    site : None where the site file cannot be read; `broken` then says why
    """

    key: str
    folder: str
    site: Site | None
    broken: str = ""


def find_sites(fleet: Path) -> list[Found]:
    """The fleet's sites in order of their folders.

    Raises InputError where the folder is none, where it holds no site, and where two sites carry
    one id: then it names both.
    """
    if not fleet.is_dir():
        raise InputError(
            "there is no such fleet folder",
            file=fleet,
            expected="a folder with site folders in it, each with a site.toml",
        )
    found: list[Found] = []
    for folder in _folders(fleet):
        name = folder.relative_to(fleet).as_posix()
        read = run_site(lambda folder=folder: read_site(folder))  # type: ignore[misc]
        if read.result is None:
            found.append(Found(name, name, None, read.message or ""))
        else:
            found.append(Found(read.result.id, name, read.result))
    if not found:
        raise InputError(
            "there is no site in this folder",
            file=fleet,
            expected=f"site folders, each with a {SITE_FILE}",
            hint="make a site file from a site's exports: zonetrail inspect DIR --draft site.toml",
        )
    by_id: dict[str, Found] = {}
    for one in found:
        other = by_id.setdefault(one.key, one)
        if other is not one:
            raise InputError(
                "two sites carry the same id",
                file=fleet / one.folder / SITE_FILE,
                found=f'id = "{one.key}", as in {fleet / other.folder / SITE_FILE}',
                expected="an id of its own for each site of a fleet",
            )
    return found


def _folders(fleet: Path) -> list[Path]:
    """Folders with a site file, in order; none inside another's exports or report."""
    made = []
    for parent, folders, files in os.walk(fleet):
        folders[:] = sorted(n for n in folders if n not in NOT_ENTERED and not n.startswith("."))
        if SITE_FILE in files:
            made.append(Path(parent))
    return sorted(made)

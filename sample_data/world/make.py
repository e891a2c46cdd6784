"""Sites on disk, with truth, made once and kept under a name made of source and description."""

import gzip
import hashlib
import json
import os
import shutil
from pathlib import Path
from typing import Any

from sample_data.world.catalogue import check_part
from sample_data.world.export import Export, exports
from sample_data.world.kept import cache_folder, source_hash
from sample_data.world.loop import Record
from sample_data.world.packing import on_disk
from sample_data.world.site_file import site_toml
from sample_data.world.system import System
from sample_data.world.truth import truth_of
from sample_data.world.worlds import record as simulate


def key(system: System) -> str:
    """The name a system is kept under: equal descriptions and equal source give equal names."""
    digest = hashlib.sha256((source_hash() + repr(system)).encode()).hexdigest()[:16]
    return f"{system.name[:48]}-{digest}"


def record(system: System) -> Record:
    """The one-second record. Raises OtherPart for a system of the other part."""
    check_part(system)
    return simulate(system)


def made(system: System) -> tuple[Record, list[Export], dict[str, Any]]:
    """Record, exports and truth, all in memory. Raises OtherPart for the other part."""
    kept = record(system)
    files = exports(system, kept)
    return kept, files, truth_of(system, kept, files)


def _kept(system: System) -> Path:
    """The folder with site.toml, exports/ and truth.json.gz of the system; made if need be."""
    check_part(system)
    folder = cache_folder() / "sites" / key(system)
    if (folder / "truth.json.gz").exists():
        return folder
    _, files, facts = made(system)
    building = folder.with_name(f".{folder.name}.{os.getpid()}")
    shutil.rmtree(building, ignore_errors=True)
    (building / "exports").mkdir(parents=True)
    (building / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    for name, content in on_disk(system, files):
        (building / "exports" / name).write_bytes(content)
    told = json.dumps(facts, sort_keys=True).encode()
    (building / "truth.json.gz").write_bytes(gzip.compress(told, compresslevel=4, mtime=0))
    try:
        building.rename(folder)
    except OSError:  # another process was faster
        shutil.rmtree(building, ignore_errors=True)
    return folder


def truth(system: System) -> dict[str, Any]:
    """The system's ground truth. Raises OtherPart for a system of the other part."""
    facts: dict[str, Any] = json.loads(
        gzip.decompress((_kept(system) / "truth.json.gz").read_bytes())
    )
    return facts


def make_site(system: System, folder: Path) -> dict[str, Any]:
    """Write site.toml and exports/ of the system into `folder`; gives its truth.

    The truth is not written there. Raises OtherPart for a system of the other part.
    """
    kept = _kept(system)
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(kept / "site.toml", folder / "site.toml")
    shutil.copytree(kept / "exports", folder / "exports", dirs_exist_ok=True)
    return truth(system)

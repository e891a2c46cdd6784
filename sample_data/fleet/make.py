"""Write the sample fleet again: `python -m sample_data.fleet.make [DIR]`, `make sample-fleet`.

One archive a site, and planted.json, which says what is planted and which findings it must and
may bring. Without DIR, in place. Nothing of the machine gets in: equal data give equal bytes
under the same liblzma.
"""

from __future__ import annotations

import argparse
import io
import json
import lzma
import sys
import tarfile
from datetime import datetime
from pathlib import Path
from typing import Any

from sample_data.fleet.sites import FLEET, FleetSite
from sample_data.world.export import Export
from sample_data.world.make import made
from sample_data.world.site_file import site_toml

HERE = Path(__file__).resolve().parent
PLANTED = "planted.json"
WRONG_KIND = "heatpump"  # what the site that cannot be read has for its kind
# numbers in text: the context of four bits and no alignment save a twentieth
FILTERS = [{"id": lzma.FILTER_LZMA2, "preset": 9 | lzma.PRESET_EXTREME, "lc": 4, "lp": 0, "pb": 0}]


def thinned(export: Export) -> str:
    """The file with every other row of static: its logger has twice the others' rate."""
    if export.name != "static.csv":
        return export.text
    lines = export.text.splitlines(keepends=True)
    head = len(lines) - len(export.seconds)
    return "".join(lines[:head] + lines[head::2])


def site_file(site: FleetSite, exports: list[Export]) -> str:
    """site.toml with the owner's notes; of the site that cannot be read, with its mistake."""
    text = site_toml(site.system, exports)
    notes = [
        f'name = "{site.name}"',
        f'region = "{site.climate}"',
        f'agreement = "{site.agreement}"',
        f'installer = "{site.crew}"',
        f'installed = "{site.installed}"',
        f'next_visit = "{site.next_visit}"',
    ]
    if site.call_first:
        notes.append("call_first = true")
    head = f'id = "{site.id}"\n'
    assert text.count(head) == 1
    text = text.replace(head, head + "\n".join(notes) + "\n")
    if site.trouble == "cannot be read":
        text = text.replace(f'kind = "{site.kind}"', f'kind = "{WRONG_KIND}"', 1)
    return text


def packed(files: dict[str, str], taken: datetime) -> bytes:
    """An archive of these texts by name, of the instant the loggers were taken; nobody's name."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=tarfile.USTAR_FORMAT) as archive:
        for name, text in files.items():
            content = text.encode("utf-8")
            entry = tarfile.TarInfo(name)
            entry.size = len(content)
            entry.mtime = int(taken.timestamp())
            archive.addfile(entry, io.BytesIO(content))
    return lzma.compress(out.getvalue(), check=lzma.CHECK_CRC64, filters=FILTERS)


def contents(site: FleetSite) -> tuple[dict[str, str], dict[str, Any]]:
    """The site's files by name, and what is planted in it."""
    system = site.system
    _, exports, facts = made(system)
    files = {"site.toml": site_file(site, exports)}
    files |= {f"exports/{e.name}": thinned(e) for e in exports}
    labels = facts["labels"]
    told = {
        "condition": site.planted[0] if site.planted else "healthy",
        "severity": site.planted[1] if site.planted else 0,
        "trouble": site.trouble,
        "must": labels["must"],
        "may": labels["may"],
    }
    return files, told


def main() -> None:
    """Simulate, export, pack, say what is planted."""
    parser = argparse.ArgumentParser(description="Make the sample fleet's archives.")
    parser.add_argument("folder", nargs="?", type=Path, default=HERE)
    folder: Path = parser.parse_args().folder
    (folder / "packed").mkdir(parents=True, exist_ok=True)
    planted = {}
    total = 0
    for site in FLEET:
        files, planted[site.id] = contents(site)
        content = packed(files, site.system.local(site.system.seconds))
        (folder / "packed" / f"{site.id}.tar.xz").write_bytes(content)
        total += len(content)
        sys.stdout.write(f"{site.id}: {len(content):,} bytes, {planted[site.id]['must']}\n")
    told = json.dumps(planted, indent=1) + "\n"
    (folder / PLANTED).write_text(told, encoding="utf-8")
    sys.stdout.write(f"{len(FLEET)} sites, {total:,} bytes\n")


if __name__ == "__main__":
    main()

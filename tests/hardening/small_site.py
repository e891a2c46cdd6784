"""A morning of the sample site: four loggers, trips and all, in a second of work."""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from pathlib import Path

from sample_data.unpack import unpack_site

MORNING = (dt.datetime(2026, 1, 13, 5), dt.datetime(2026, 1, 13, 9))
_STAMP = re.compile(
    r"^(\d\d/\d\d/\d{4}),(\d\d:\d\d:\d\d [AP]M)|^(\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d)"
)
SAID = '\n[[export]]\nfiles = "exports/plenum*.csv"\ndate_order = "mdy"\n'


def small_site(folder: Path, hours: tuple[dt.datetime, dt.datetime] = MORNING) -> Path:
    """The new site folder `folder/larch-14` with what its loggers wrote in these local hours."""
    with tempfile.TemporaryDirectory() as whole:
        source = unpack_site("larch-14", Path(whole))
        site = folder / "larch-14"
        (site / "exports").mkdir(parents=True)
        text = (source / "site.toml").read_text(encoding="utf-8")
        (site / "site.toml").write_text(text + SAID, encoding="utf-8")
        for export in sorted((source / "exports").iterdir()):
            lines = export.read_text(encoding="utf-8").splitlines()
            kept = _cut(lines, hours, is_changes="panel" in export.name)
            (site / "exports" / export.name).write_text("\n".join(kept) + "\n", encoding="utf-8")
    return site


def _cut(lines: list[str], hours: tuple[dt.datetime, dt.datetime], is_changes: bool) -> list[str]:
    """The header and the rows of these hours; of a log of changes first the states as they were."""
    kept: list[str] = []
    states: list[str] = []
    for line in lines:
        at = _time(line)
        if at is None:
            kept.append(line)
            continue
        if is_changes and at < hours[0]:
            new = line.split(",")
            states = [n or old for n, old in zip(new, states or new, strict=True)]
            states[0] = hours[0].isoformat() + "-07:00"
        elif hours[0] <= at < hours[1]:
            if states:
                kept.append(",".join(states))
                states = []
            kept.append(line)
    return kept


def _time(line: str) -> dt.datetime | None:
    found = _STAMP.match(line)
    if found is None:
        return None
    if found[1]:
        return dt.datetime.strptime(f"{found[1]} {found[2]}", "%m/%d/%Y %I:%M:%S %p")
    return dt.datetime.fromisoformat(found[3])

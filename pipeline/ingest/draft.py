"""A first site.toml from what the exports seem to be; every guess marked for a person."""

from __future__ import annotations

import fnmatch
import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.ingest.column_look import ColumnLook
from pipeline.ingest.columns import SURE
from pipeline.ingest.look import FileLook, look_at_folder
from pipeline.ingest.values import state_of
from pipeline.site import GUESS_MARK
from pipeline.terminal import visible
from pipeline.units import MICROSECONDS

MARK = GUESS_MARK
# Zones to choose from where a file states an offset from UTC but no zone.
_US_ZONES = (
    *("America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles"),
    *("America/Anchorage", "Pacific/Honolulu"),
)


def draft_site(folder: Path, timezone: str | None = None) -> str:
    """A draft of the folder's site.toml from a look at its exports; see `draft`."""
    return draft(look_at_folder(folder), site_id_of(folder), timezone)


def site_id_of(folder: Path) -> str:
    """A site id from the folder's name."""
    return re.sub(r"[^A-Za-z0-9_-]+", "-", folder.resolve().name).strip("-") or "site"


def draft(looks: Sequence[FileLook], site_id: str, timezone: str | None = None) -> str:
    """The text of a site.toml that can be loaded as it is.

    timezone : the site's zone, if it is known

    What a person must confirm carries the mark `# CONFIRM:`. A column whose meaning is guessed
    with less than `columns.SURE` stands there commented out, so that nothing is concluded from it.
    """
    usable = [look for look in looks if look.problem is None]
    zone, zone_reason = (timezone, None) if timezone else _timezone(usable)
    roles = {c.guess.role for look in usable for c in look.columns if c.guess.confidence >= SURE}
    kind, kind_reason = _equipment(roles)
    lines = [
        "# Drafted by zonetrail inspect from the exports. Lines marked CONFIRM are guesses: look",
        "# at the site, correct them and take the mark away.",
        "[site]",
        f"id = {_text(site_id)}",
        f"timezone = {_text(zone)}" + (f"  {MARK} {zone_reason}" if zone_reason else ""),
        "",
        "[equipment]",
        f"kind = {_text(kind)}  {MARK} {kind_reason}",
        "",
        "# [settings]  what is not given here is not audited: read it off at the panel",
        "# static_target_inwc = 0.5",
        "# high_limit_f = 150",
        "# stage_up_delay_min = 10",
        "",
    ]
    zones = sorted(
        {
            c.guess.zone
            for look in usable
            for c in look.columns
            if c.guess.zone is not None and c.guess.confidence >= SURE
        }
    )
    for number in zones:
        lines += ["[[zone]]", f"number = {number}", f'name = "Zone {number}"  {MARK} its name', ""]
    for look in looks:
        if look.problem is not None:
            lines += [f"# {look.path} cannot be loaded: {look.problem.what}"]
            if "ambiguous" in look.problem.what:
                lines += [
                    f"# {MARK[2:]} which comes first, the day or the month?",
                    "# [[export]]",
                    f"# files = {_text(look.path)}",
                    '# date_order = "mdy"',
                ]
            lines.append("")
    for pattern, members in _groups(usable):
        lines += _file(pattern, members)
    # Names are strangers' texts: none may end its line, and TOML forbids control characters.
    return "\n".join(visible(line.replace("\n", " ")) for line in lines).rstrip() + "\n"


def _file(pattern: str, members: list[FileLook]) -> list[str]:
    look = members[0]
    lines = [f"# ---- {pattern}: {len(members)} file" + ("s" if len(members) > 1 else "")]
    if look.interval_s is not None:
        lines.append(f"# one row every {look.interval_s:g} s")
    lines.append("")
    if look.long is not None:
        lines += ["[[export]]", f"files = {_text(pattern)}", 'kind = "long"']
        lines += [f"name_column = {_text(look.long[0])}", f"value_column = {_text(look.long[1])}"]
        lines.append("")
    names = [c.name for c in look.columns]
    for column in look.columns:
        if not names.count(column.name) > 1:
            lines += [*_channel(pattern, column), ""]
    return lines


def _channel(pattern: str, column: ColumnLook) -> list[str]:
    guess = column.guess
    is_sure = guess.role is not None and guess.confidence >= SURE
    entry = ["[[channel]]", f"file = {_text(pattern)}", f"column = {_text(column.name)}"]
    entry.append(f"role = {_text(guess.role or 'ignore')}")
    if guess.zone is not None:
        entry.append(f"zone = {guess.zone}")
    elif (guess.role or "").startswith("zone_"):
        entry.append("zone = 1  # which one?")
    if guess.unit is not None and not column.is_state:
        entry.append(f"unit = {_text(guess.unit)}")
    if is_sure:
        return entry
    unknown = [w for w in column.words if state_of(w) is None]
    if unknown:
        entry.append(f"on = [{_text(unknown[0])}]  # which of its words mean on?")
    doubt = f"not sure ({guess.confidence:.0%})" if guess.role is not None else "not known"
    held = f"states {', '.join(column.words)}" if column.is_state else _range(column)
    said = f"{MARK} {_text(column.name)}: {doubt}: {guess.reason}; it holds {held}"
    return [said, *("# " + line for line in entry)]


def _range(column: ColumnLook) -> str:
    if column.low is None or column.high is None:
        return "no numbers"
    return f"{column.low:g} to {column.high:g}"


def _groups(looks: Sequence[FileLook]) -> list[tuple[str, list[FileLook]]]:
    """Files that only their digits tell apart and that have the same columns, with a pattern."""
    groups: dict[tuple[str, tuple[str, ...]], list[FileLook]] = {}
    for look in looks:
        key = (re.sub(r"\d+", "*", look.path), tuple(c.name for c in look.columns))
        groups.setdefault(key, []).append(look)
    named = []
    for (pattern, _), members in groups.items():
        others = [look.path for look in looks if look not in members]
        is_safe = not any(fnmatch.fnmatchcase(path, pattern) for path in others)
        if len(members) == 1:
            named.append((members[0].path, members))
        elif is_safe:
            named.append((pattern, members))
        else:
            named += [(look.path, [look]) for look in members]
    return named


def _timezone(looks: Sequence[FileLook]) -> tuple[str, str]:
    """A zone for the site, and why it must be confirmed."""
    for look in looks:
        if look.timezone_source != "file" or look.timezone is None or look.first_ts is None:
            continue
        if "/" in look.timezone:
            return look.timezone, f"named in {look.path}"
        match = re.fullmatch(r"UTC([+-])(\d{2}):(\d{2})", look.timezone)
        if match is None:
            continue
        minutes = int(match.group(2)) * 60 + int(match.group(3))
        offset = timedelta(minutes=-minutes if match.group(1) == "-" else minutes)
        when = datetime.fromtimestamp(look.first_ts / MICROSECONDS, UTC)
        for name in _US_ZONES:
            if when.astimezone(ZoneInfo(name)).utcoffset() == offset:
                return name, f"{look.path} says {look.timezone}, which this zone had then"
    own = _own_zone()
    if own is not None:
        return own, "no file names a zone; this is the zone of the computer that drafted this"
    return "UTC", "no file names a zone: put the site's own here"


def _own_zone() -> str | None:
    """The IANA name of this computer's zone, where it can be told."""
    place = Path("/etc/localtime")
    name = str(place.resolve()).partition("/zoneinfo/")[2] if place.is_symlink() else ""
    return name if "/" in name and not name.startswith("Etc/") else None


def _equipment(roles: set[str | None]) -> tuple[str, str]:
    burner = bool(roles & {"output_w1", "output_w2", "gas_valve", "flame"})
    compressor = bool(roles & {"output_y1", "output_y2", "compressor_run"})
    if burner and compressor and "output_ob" in roles:
        return "dual_fuel", "W, Y and O/B are logged; a heat pump with strip heat looks the same"
    if compressor and "output_ob" in roles:
        return "heat_pump", "Y and O/B are logged"
    if burner and compressor:
        return "furnace_ac", "W and Y are logged"
    if burner:
        return "furnace", "only heat outputs are logged"
    if compressor:
        return "ac", "only compressor outputs are logged"
    return "furnace_ac", "no outputs are logged; this is only the most usual kind"


def _text(value: str) -> str:
    # A TOML basic string is written as JSON writes it.
    return json.dumps(value, ensure_ascii=False)

"""From the parsed site.toml to a Site: every key checked, every problem collected."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.channels import ROLES, Role
from pipeline.errors import InputError, SiteFileError, UserError
from pipeline.site import (
    SITE_FILE,
    Channel,
    Equipment,
    Export,
    Settings,
    Site,
    Value,
    Visit,
    Zone,
)
from pipeline.site_keys import REPEATED, REQUIRED, SETTINGS, TABLES, Wrong, nearest, shown
from pipeline.toml_lines import TomlLines
from pipeline.units import MICROSECONDS, UNITS


def read_site(path: Path | str) -> Site:
    """The site that `path` (a site.toml, or the folder it lies in) describes.

    Raises InputError if there is no such file, SiteFileError with every problem in it otherwise.
    """
    path = Path(path)
    if path.is_dir():
        path = path / SITE_FILE
    if not path.exists() and path.suffix != ".toml":
        raise InputError(
            "there is no such folder",
            file=path,
            expected="a folder with a site.toml and an exports/ folder",
        )
    if not path.is_file():
        raise InputError(
            "there is no site file",
            file=path,
            expected="a folder with a site.toml and an exports/ folder",
            hint=f"draft one: zonetrail inspect {path.parent}/exports --draft {path}",
        )
    text = path.read_bytes().decode("utf-8-sig", errors="replace")
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else len(text.splitlines()) or 1
        shown = text.splitlines()[line - 1].strip() if text.strip() else "an empty file"
        problem = UserError(
            "this is not a TOML file: " + re.sub(r" \(at .*\)$", "", str(error)),
            file=path,
            line=line,
            found=shown,
            expected='key = value, text in "double quotes", tables in [brackets]',
        )
        raise SiteFileError([problem]) from error
    return SiteReader(path, document, TomlLines(text)).site()


class SiteReader:
    """Walks the parsed document once, collecting every problem before raising."""

    def __init__(self, path: Path, document: dict[str, Any], lines: TomlLines) -> None:
        self.path = path
        self.document = document
        self.lines = lines
        self.problems: list[UserError] = []

    def site(self) -> Site:
        """The site. Raises SiteFileError with every problem, in the order of their lines."""
        self._unknown_tables()
        top = self._table("site")
        equipment = self._table("equipment")
        settings = self._table("settings")
        thresholds = self._thresholds()
        zones = self._entries("zone")
        visits = self._entries("visit")
        exports = self._entries("export")
        channels = self._entries("channel")
        zone_info = ZoneInfo(top.get("timezone", "UTC"))
        made_zones = self._zones(zones, channels)
        made_visits = [self._visit(i, v, zone_info) for i, v in visits]
        made_exports = [self._export(i, e, zone_info) for i, e in exports]
        made_channels = [self._channel(i, c, made_zones, zone_info) for i, c in channels]
        if self.problems:
            raise SiteFileError(sorted(self.problems, key=lambda p: p.line or 0))
        return Site(
            path=self.path,
            equipment=Equipment(**equipment),
            settings=Settings(**settings),
            thresholds=thresholds,
            zones=made_zones,
            visits=tuple(v for v in made_visits if v is not None),
            exports=tuple(e for e in made_exports if e is not None),
            channels=tuple(c for c in made_channels if c is not None),
            **top,
        )

    def problem(
        self,
        what: str,
        table: str,
        index: int | None = None,
        key: str | None = None,
        found: Any = None,
        expected: str | None = None,
    ) -> None:
        """Note one problem at the line of a key (or of its table)."""
        self.problems.append(
            UserError(
                what,
                file=self.path,
                line=self.lines.line(table, index, key),
                found=None if found is None else shown(found),
                expected=expected,
            )
        )

    def _unknown_tables(self) -> None:
        for name, value in self.document.items():
            if name in TABLES:
                is_list = isinstance(value, list)
                if is_list != (name in REPEATED) or not isinstance(value, (list, dict)):
                    brackets = f"[[{name}]]" if name in REPEATED else f"[{name}]"
                    is_table = isinstance(value, dict)
                    found = f"[{name}]" if is_table else "[[...]]" if is_list else value
                    self.problem(
                        f"{name} is written otherwise", name, found=found, expected=brackets
                    )
                continue
            where = f"[{name}]" if isinstance(value, (dict, list)) else name
            expected = nearest(name, tuple(TABLES))
            self.problem(f"{where} is not known here", name, found=name, expected=expected)

    def _table(self, name: str) -> dict[str, Any]:
        value = self.document.get(name, {})
        return self._checked(name, None, value) if isinstance(value, dict) else {}

    def _entries(self, name: str) -> list[tuple[int, dict[str, Any]]]:
        value = self.document.get(name, [])
        if not isinstance(value, list):
            return []
        entries = [(i, v) for i, v in enumerate(value) if isinstance(v, dict)]
        return [(i, self._checked(name, i, v)) for i, v in entries]

    def _checked(self, table: str, index: int | None, given: dict[str, Any]) -> dict[str, Any]:
        known = TABLES[table]
        checked = {}
        for key, value in given.items():
            if key not in known:
                self.problem(
                    f"{key} is not a key of [{table}]",
                    table,
                    index,
                    key,
                    found=key,
                    expected=nearest(key, tuple(known)),
                )
                continue
            try:
                checked[key] = known[key](value)
            except Wrong as wrong:
                self.problem(
                    f"{key} cannot be {shown(value)}", table, index, key, value, str(wrong)
                )
        for key in REQUIRED.get(table, ()):
            if key not in given:
                self.problem(f"[{table}] has no {key}", table, index, expected=f"{key} = ...")
        return checked

    def _thresholds(self) -> dict[str, float]:
        given = self.document.get("thresholds", {})
        if not isinstance(given, dict) or not given:
            return {}
        from pipeline.thresholds import FIXED_KINDS, THRESHOLDS  # only sites that set one pay

        checked = {}
        for name, value in given.items():
            threshold = THRESHOLDS.get(name)
            if threshold is None:
                expected = nearest(name, tuple(THRESHOLDS))
                self.problem(f"{name} is not a threshold", "thresholds", None, name, name, expected)
            elif threshold.kind in FIXED_KINDS:
                self.problem(
                    f"{name} cannot be set by a site: it is "
                    + {
                        "standard": "a published standard's",
                        "safety": "a safety's",
                        "reading": "part of how exports are read, the same for every site",
                    }[threshold.kind],
                    "thresholds",
                    None,
                    name,
                    value,
                    f"leave the line out; {threshold.value:g} {threshold.unit} stands "
                    f"({threshold.source})",
                )
            elif isinstance(value, bool) or not isinstance(value, (int, float)):
                expected = f"a number [{threshold.unit}]"
                self.problem(f"{name} is not a number", "thresholds", None, name, value, expected)
            elif not threshold.bounds.holds(value):
                self.problem(
                    f"{name} cannot be that",
                    "thresholds",
                    None,
                    name,
                    value,
                    f"{threshold.bounds} [{threshold.unit}]",
                )
            else:
                checked[name] = float(value)
        return checked

    def _zones(
        self,
        given: list[tuple[int, dict[str, Any]]],
        channels: list[tuple[int, dict[str, Any]]],
    ) -> tuple[Zone, ...]:
        zones: dict[int, Zone] = {}
        for index, entry in given:
            number = entry.get("number")
            if number is None:
                continue
            if number in zones:
                self.problem(
                    f"zone {number} stands here twice",
                    "zone",
                    index,
                    "number",
                    number,
                    "a number of its own for each zone",
                )
                continue
            zones[number] = Zone(**{"name": f"Zone {number}", **entry})
        if not given:  # a site file may leave the zones out; their channels name them
            numbers = {c["zone"] for _, c in channels if "zone" in c}
            zones = {n: Zone(n, f"Zone {n}") for n in numbers}
        return tuple(zones[n] for n in sorted(zones))

    def _visit(self, index: int, entry: dict[str, Any], zone: ZoneInfo) -> Visit | None:
        changed = entry.get("set", {})
        if not isinstance(changed, dict):
            expected = "{ stage_up_delay_min = 15 }"
            self.problem("set takes a table of settings", "visit", index, "set", changed, expected)
            changed = {}
        settings: dict[str, Value] = {}
        for name, value in changed.items():
            if name not in SETTINGS:
                expected = nearest(name, tuple(SETTINGS))
                self.problem(f"{name} is not a setting", "visit", index, "set", name, expected)
                continue
            try:
                settings[name] = SETTINGS[name](value)
            except Wrong as wrong:
                what = f"{name} cannot be {shown(value)}"
                self.problem(what, "visit", index, "set", value, str(wrong))
        start = self._instant("visit", index, "from", entry, zone)
        end = self._instant("visit", index, "to", entry, zone)
        if start is None or end is None or "what" not in entry:
            return None
        if end <= start:
            expected = "an end after the start"
            self.problem("the visit ends before it starts", "visit", index, "to", None, expected)
            return None
        line = self.lines.line("visit", index, None)
        return Visit(start, end, entry["what"], settings, line)

    def _export(self, index: int, entry: dict[str, Any], zone: ZoneInfo) -> Export | None:
        made = {k: v for k, v in entry.items() if k != "until"}
        made["until_ts"] = self._instant("export", index, "until", entry, zone)
        if (made.get("name_column") is None) != (made.get("value_column") is None):
            self.problem(
                "name_column and value_column go together",
                "export",
                index,
                expected="both, for files with one reading a line",
            )
        if "files" not in made:
            return None
        return Export(**made, line=self.lines.line("export", index, None))

    def _channel(
        self, index: int, entry: dict[str, Any], zones: tuple[Zone, ...], zone_info: ZoneInfo
    ) -> Channel | None:
        role = ROLES.get(entry.get("role", ""))
        if role is None or "column" not in entry:
            return None
        numbers = [z.number for z in zones]
        if role.per_zone and "zone" not in entry:
            self.problem(
                f"{role.name} belongs to a zone", "channel", index, "role", None, "zone = ..."
            )
        elif not role.per_zone and "zone" in entry and role.name != "ignore":
            self.problem(
                f"{role.name} belongs to the equipment, not to a zone",
                "channel",
                index,
                "zone",
                entry["zone"],
                "no zone here",
            )
        elif "zone" in entry and entry["zone"] not in numbers:
            self.problem(
                f"there is no zone {entry['zone']}",
                "channel",
                index,
                "zone",
                entry["zone"],
                "one of " + ", ".join(map(str, numbers)),
            )
        unit = UNITS.get(entry.get("unit", ""))
        if unit is not None and role.kind == "analog" and unit.dimension != role.dimension:
            fitting = ", ".join(u.name for u in UNITS.values() if u.dimension == role.dimension)
            self.problem(
                f"{unit.name} is not a unit of {role.dimension}",
                "channel",
                index,
                "unit",
                unit.name,
                "one of " + fitting,
            )
        if role.kind == "analog":
            for key in ("on", "threshold", "damper"):
                if key in entry:
                    what = f"{key} is for on/off channels; {role.name} is a number"
                    self.problem(what, "channel", index, key, entry[key], "no such key here")
            if entry.get("form", "level") != "level":
                what = f"form is for on/off channels; {role.name} is a number"
                self.problem(what, "channel", index, "form", entry["form"], "no form here")
        return self._made_channel(index, entry, role, zone_info)

    def _made_channel(
        self, index: int, entry: dict[str, Any], role: Role, zone_info: ZoneInfo
    ) -> Channel:
        """The channel, with what corrects its readings checked against its role."""
        if entry.get("inverted") and role.kind != "state" and role.dimension != "pressure":
            what = f"inverted is for on/off channels and pressures; {role.name} is neither"
            self.problem(what, "channel", index, "inverted", True, "no such key here")
        if entry.get("inverted") and entry.get("form", "level") != "level":
            what = "a total over an interval cannot be inverted"
            self.problem(what, "channel", index, "inverted", True, "no such key here")
        corrects = [k for k in entry if k.startswith("zero_shift")]
        if corrects and role.kind != "analog":
            what = f"{corrects[0]} is for numbers; {role.name} is on or off"
            self.problem(what, "channel", index, corrects[0], None, "no such key here")
        if corrects and "zero_shift" not in entry:
            self.problem(
                f"{corrects[0]} without zero_shift", "channel", index, corrects[0], None,
                "zero_shift = ..., in the channel's unit",
            )  # fmt: skip
        plain = {k: v for k, v in entry.items() if k not in ("zero_shift_from", "zero_shift_until")}
        start, end = (
            self._instant("channel", index, key, entry, zone_info)
            for key in ("zero_shift_from", "zero_shift_until")
        )
        if start is not None and end is not None and end <= start:
            what = "the zero shift ends before it starts"
            self.problem(what, "channel", index, "zero_shift_until", None, "an end after the start")
        line = self.lines.line("channel", index, None)
        return Channel(**plain, zero_shift_from_ts=start, zero_shift_until_ts=end, line=line)

    def _instant(
        self, table: str, index: int, key: str, entry: dict[str, Any], zone: ZoneInfo
    ) -> int | None:
        moment = entry.get(key)
        if moment is None:
            return None
        if moment.tzinfo is None:
            local = moment.replace(tzinfo=zone)
            utc = local.astimezone(ZoneInfo("UTC"))
            if utc.astimezone(zone).replace(tzinfo=None) != moment:
                self.problem(
                    f"{moment.isoformat()} does not exist in {zone.key}: clocks went forward",
                    table,
                    index,
                    key,
                    moment.isoformat(),
                    "a time that the clocks showed that day",
                )
                return None
            moment = utc
        return round(moment.timestamp() * MICROSECONDS)

"""The site file: what is installed, how it is set, which column is which.

`site_reader.read_site` makes these records from site.toml; the keys and their checks stand in
site_keys.py.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, fields
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.channels import ROLES, Role

SITE_FILE = "site.toml"
NOT_PARSED = frozenset({"where", "line", "zero_shift", "zero_shift_from_ts", "zero_shift_until_ts"})
"""What `[[channel]]` says that does not change what is stored."""
GUESS_MARK = "# CONFIRM:"
"""Stands in a drafted site file beside whatever a person must look at."""
Value = float | int | str | bool


@dataclass(frozen=True)
class Equipment:
    """`[equipment]`: what is installed, by the rating plate. None: not given."""

    kind: str
    heating_stages: int | None = None
    cooling_stages: int | None = None
    compressor_stages: int | None = None
    heating_output_btuh: tuple[float, ...] | None = None
    cooling_output_btuh: tuple[float, ...] | None = None
    heat_pump_output_btuh: dict[str, float] | None = None
    aux_kw: tuple[float, ...] | None = None
    temperature_rise_f: tuple[tuple[float, float], ...] | None = None
    max_outlet_f: float | None = None
    max_external_static_inwc: float | None = None
    fan: str | None = None
    fan_on_delay_s: float | None = None
    fan_off_delay_s: float | None = None
    fan_output_in_gas_heat: bool | None = None
    ob_energised_in: str | None = None
    staged_by: str | None = None
    defrost_heat_from: str | None = None
    bypass: str | None = None
    ventilator: str | None = None
    economizer: bool | None = None
    leak_control: bool | None = None
    fault_contact_alarm: str | None = None


@dataclass(frozen=True)
class Settings:
    """`[settings]`: as found on site. None: not given, and so never audited."""

    static_target_inwc: float | None = None
    high_limit_f: float | None = None
    low_limit_f: float | None = None
    low_balance_f: float | None = None
    high_balance_f: float | None = None
    stage_up_delay_min: float | None = None
    stage_up_by: str | None = None
    stage_up_clock: str | None = None
    stage2_min_zones: int | None = None
    stage2_release: str | None = None
    compressor_min_off_min: float | None = None
    changeover_wait_min: float | None = None
    damper_travel_s: float | None = None
    relief_wait_s: float | None = None
    purge_s: float | None = None

    def given(self) -> dict[str, Value]:
        """The settings that were given, by name."""
        named = {f.name: getattr(self, f.name) for f in fields(self)}
        return {name: value for name, value in named.items() if value is not None}


@dataclass(frozen=True)
class Zone:
    """`[[zone]]`. setback: local times "22:00-06:00"; share: of total air, 0 to 1."""

    number: int
    name: str
    relief: bool | None = None
    thermostat: str | None = None
    cycles_per_hour: float | None = None
    setback: str | None = None
    share: float | None = None
    location: str | None = None


@dataclass(frozen=True)
class Visit:
    """`[[visit]]`: service work or loggers set and taken; UTC microseconds, half-open."""

    start_ts: int
    end_ts: int
    what: str
    settings: dict[str, Value] = field(default_factory=dict)
    line: int | None = None


@dataclass(frozen=True)
class Export:
    """`[[export]]`: what cannot be told from the files that match `files`. None: not given."""

    files: str
    timezone: str | None = None
    clock_offset_s: float = 0.0
    date_order: str | None = None
    year: int | None = None
    decimal: str | None = None
    kind: str | None = None
    missing: tuple[str, ...] = ()
    name_column: str | None = None
    value_column: str | None = None
    until_ts: int | None = None
    reference: bool = False
    line: int | None = None


@dataclass(frozen=True)
class Channel:
    """`[[channel]]`: which column carries which role.

    accuracy, zero_shift : in the channel's own unit; zero_shift is reading minus true
    inverted : the column tells the opposite: on for off; of a pressure, the other sign
    """

    column: str
    role: str
    file: str | None = None
    unit: str | None = None
    accuracy: float | None = None
    where: str | None = None
    zone: int | None = None
    on: tuple[str, ...] = ()
    threshold: float | None = None
    form: str = "level"
    damper: str | None = None
    inverted: bool = False
    zero_shift: float | None = None
    zero_shift_from_ts: int | None = None
    zero_shift_until_ts: int | None = None
    line: int | None = None

    @property
    def meaning(self) -> Role:
        """The role's entry in channels.ROLES."""
        return ROLES[self.role]


@dataclass(frozen=True)
class Site:
    """One site as its site.toml describes it; `path` is the file, `folder` where it lies."""

    path: Path
    id: str
    timezone: str
    equipment: Equipment
    settings: Settings = Settings()
    name: str | None = None
    altitude_ft: float | None = None
    complaint: str | None = None
    agreement: str | None = None
    region: str | None = None
    installed: str | None = None
    installer: str | None = None
    next_visit: str | None = None
    call_first: bool = False
    design_heating_f: float | None = None
    design_cooling_f: float | None = None
    address: str | None = None
    notes: str | None = None
    thresholds: dict[str, float] = field(default_factory=dict)
    zones: tuple[Zone, ...] = ()
    visits: tuple[Visit, ...] = ()
    exports: tuple[Export, ...] = ()
    channels: tuple[Channel, ...] = ()

    @property
    def folder(self) -> Path:
        """The site's folder."""
        return self.path.parent

    @property
    def store_path(self) -> Path:
        """Where the site's store lies."""
        return self.folder / "site.duckdb"

    @property
    def zone_info(self) -> ZoneInfo:
        """The site's own time zone."""
        return ZoneInfo(self.timezone)

    def open_guesses(self) -> tuple[str, ...]:
        """Lines of the file that are still marked as guesses, each with its number."""
        lines = self.path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
        return tuple(
            f"line {number}: {line.strip()}"
            for number, line in enumerate(lines, start=1)
            if GUESS_MARK in line
        )

    def settings_in_force(self) -> list[tuple[str, Value, int | None, int | None]]:
        """Each setting with the half-open span in which it held: (name, value, start_ts, end_ts).

        None stands for no bound. A visit's `set` holds from the visit's end on; what stood before
        a visit that sets something never given in [settings] is not known and has no row.
        """
        rows = []
        visits = sorted(self.visits, key=lambda v: v.end_ts)
        for name in [f.name for f in fields(Settings)]:
            steps: list[tuple[int | None, Value]] = []
            first = getattr(self.settings, name)
            if first is not None:
                steps.append((None, first))
            steps += [(v.end_ts, v.settings[name]) for v in visits if name in v.settings]
            for (start, value), following in zip(steps, [*steps[1:], None], strict=False):
                rows.append((name, value, start, following[0] if following else None))
        return rows


def parse_fingerprint(site: Site) -> str:
    """A hash of all that site.toml says about how exports are read, and of nothing else.

    Clock offsets, references and where a probe sits do not change what is stored.
    """
    said = {
        "timezone": site.timezone,
        "fault_contact_alarm": site.equipment.fault_contact_alarm,
        "exports": [
            {k: v for k, v in vars(e).items() if k not in ("clock_offset_s", "reference", "line")}
            for e in site.exports
        ],
        "channels": [
            {k: v for k, v in vars(c).items() if k not in NOT_PARSED} for c in site.channels
        ],
    }
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()

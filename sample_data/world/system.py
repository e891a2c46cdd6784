"""One system of the world as a frozen description: place, parts, sheet, troubles, loggers."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from sample_data.world.climates import CLIMATES, MONTH, Climate
from sample_data.world.parts import Branch, Plant, Zone

Pairs = tuple[tuple[str, float | int | str | bool], ...]
WARM_UP_S = 6 * 3600  # simulated before the first logger is set, so that the house is in stride


@dataclass(frozen=True)
class LogFault:
    """Something wrong with the log: on what channel's role (`zone` from 0, -1: none), how much."""

    kind: str
    role: str = ""
    zone: int = -1
    amount: float = 0.0
    from_h: float = 0.0  # hours after the first logger was set
    to_h: float = 1e9


@dataclass(frozen=True)
class Logging:
    """How the system was logged."""

    fast_s: int = 10  # supply, return, static
    slow_s: int = 60  # rooms and outdoors
    states: str = "change"  # change: on change; else sampled with `fast_s`
    dialect: str = "plain"
    packed: str = ""  # gz, zip (all in one) or xlsx: see packing
    totals: str = ""  # percent_on or seconds_on: the panel's logger totals every `slow_s`
    static: bool = True
    dampers: bool = True
    setpoints: bool = True
    proof: bool = False  # flame, compressor and blower contacts
    return_static: bool = False
    faults: tuple[LogFault, ...] = ()


@dataclass(frozen=True)
class System:
    """Everything that makes one site of the world; equal descriptions give equal bytes."""

    name: str
    seed: int
    part: str  # tuning or reporting
    kind: str  # furnace_ac, heat_pump, dual_fuel, furnace, ac
    climate: str
    season: str  # heating, cooling, shoulder
    plant: Plant
    zones: tuple[Zone, ...]
    branches: tuple[Branch, ...]
    equipment: Pairs  # [equipment] of site.toml, as on the plate
    sheet: Pairs  # [settings] of site.toml, as on the sheet in the panel's door
    days: float = 7.0
    date: str = ""  # local date of the first day; else one of the season's
    conditions: tuple[tuple[str, int], ...] = ()  # planted: condition, severity 1 to 3
    odd: str = ""
    upsets: tuple[tuple[str, float, float], ...] = ()  # kind, hours after the first logger
    logging: Logging = field(default_factory=Logging)
    cycles_on_sheet: tuple[float, ...] = ()

    @property
    def weather(self) -> Climate:
        """Its climate."""
        return CLIMATES[self.climate]

    @property
    def timezone(self) -> ZoneInfo:
        """Its local time."""
        return ZoneInfo(self.weather.timezone)

    @property
    def start(self) -> datetime:
        """The local instant of the record's first second."""
        told = f"2026-{MONTH[self.season]:02d}-{5 + self.seed % 14:02d}"
        day = datetime.fromisoformat(self.date or told)
        at = day.replace(hour=12 + self.seed % 4, tzinfo=self.timezone)
        return at - timedelta(seconds=WARM_UP_S)

    def local(self, second: int) -> datetime:
        """The local instant of a second of the record."""
        return (self.start.astimezone(UTC) + timedelta(seconds=second)).astimezone(self.timezone)

    @property
    def first_second(self) -> int:
        """Second of the local day at the record's first second."""
        return self.start.hour * 3600 + self.start.minute * 60

    @property
    def seconds(self) -> int:
        """Length of the record, from before the first logger to after the last."""
        return WARM_UP_S + round(self.days * 86400)

    @property
    def condition(self) -> str:
        """Planted conditions in words, or healthy."""
        names = [name for name, _ in self.conditions]
        return "+".join(names) if names else (self.odd or "healthy")

    @property
    def severity(self) -> int:
        """Severity of the strongest planted condition, 0 when healthy."""
        return max((level for _, level in self.conditions), default=0)

"""Which sites the sample fleet has, what is planted in them, and what their owner noted of them.

All are systems of the world's tuning part: drawn healthy from `seed`, then changed by what is
planted. Names, regions and crews are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sample_data.world.catalogue import plant
from sample_data.world.conditions import BY_NAME
from sample_data.world.houses import draw
from sample_data.world.system import LogFault, Logging, System

FIRST_DAY = "2026-01-12"
DAYS = 14.0
INTERVAL_S = 60
DIED_AFTER_H = 30.0
"""Hours after the first logger was set at which the dead logger gave its last reading."""


@dataclass(frozen=True)
class FleetSite:
    """One site.

    seed, kind, climate, zones : what the healthy system is drawn from
    planted : (condition of the world's table, severity 1 to 3); empty: healthy
    trouble : '' or what is wrong with the log: 'logger died' or 'cannot be read'
    dialect : how its loggers write
    crew, agreement, installed, next_visit, call_first : the owner's notes, keys of [site]
    """

    id: str
    name: str
    seed: int
    kind: str
    climate: str
    zones: int
    planted: tuple[str, int] | None = None
    trouble: str = ""
    dialect: str = "plain"
    crew: str = "Aspen crew"
    agreement: str = "yearly"
    installed: str = "2021-09"
    next_visit: str = "2026-03-16"
    call_first: bool = False

    @property
    def system(self) -> System:
        """The system as it stands, with its loggers."""
        drawn = draw(self.seed, "tuning", self.kind, self.climate, "heating", self.zones)
        faults: tuple[LogFault, ...] = ()
        if self.trouble == "logger died":
            faults = (LogFault("gap", "supply_temp", from_h=DIED_AFTER_H),)
        logging = Logging(fast_s=INTERVAL_S, slow_s=INTERVAL_S, dialect=self.dialect, faults=faults)
        found = replace(drawn, name=self.id, days=DAYS, date=FIRST_DAY, logging=logging)
        if self.planted is None:
            return found
        condition, severity = self.planted
        return plant(BY_NAME[condition], found, severity)


TWO_ZONES_AT_ONCE = "second stage for one zone"
PLAINS = ("furnace_ac", "high plains", 3)  # twelve alike, so that they have peers
FLEET = (
    FleetSite("alder-3", "3 Alder Court", 6003, *PLAINS, installed="2019-10"),
    FleetSite("aspen-21", "21 Aspen Street", 6012, *PLAINS, dialect="semicolon"),
    FleetSite("birch-8", "8 Birch Road", 6016, *PLAINS, (TWO_ZONES_AT_ONCE, 3), crew="Birch crew",
              installed="2023-05", next_visit="2026-02-09"),
    FleetSite("cedar-40", "40 Cedar Street", 6017, *PLAINS, (TWO_ZONES_AT_ONCE, 2),
              crew="Birch crew", installed="2023-06", agreement="twice a year", call_first=True),
    FleetSite("elder-5", "5 Elder Way", 6018, *PLAINS, dialect="twelve hour"),
    FleetSite("elm-17", "17 Elm Street", 6024, *PLAINS, ("return side clogging by the day", 3),
              installed="2016-08", agreement="twice a year", next_visit="2026-02-02"),
    FleetSite("fir-2", "2 Fir Lane", 6025, *PLAINS, (TWO_ZONES_AT_ONCE, 3), crew="Birch crew",
              installed="2023-05", dialect="tabs"),
    FleetSite("hazel-33", "33 Hazel Avenue", 6050, *PLAINS, crew="Birch crew",
              installed="2018-04"),
    FleetSite("juniper-12", "12 Juniper Road", 6029, *PLAINS, ("thermostat cycles too often", 3),
              installed="2014-11", call_first=True),
    FleetSite("linden-6", "6 Linden Square", 6034, *PLAINS, dialect="utc"),
    FleetSite("maple-19", "19 Maple Street", 6037, *PLAINS, trouble="logger died"),
    FleetSite("oak-27", "27 Oak Street", 6041, *PLAINS, agreement="twice a year"),
    FleetSite("pine-4", "4 Pine Hill", 6001, "dual_fuel", "high plains", 4,
              ("balance point off", 3), crew="Cedar crew", installed="2022-07"),
    FleetSite("poplar-11", "11 Poplar Road", 6002, "dual_fuel", "high plains", 4,
              crew="Cedar crew", installed="2022-08", dialect="bars"),
    FleetSite("rowan-9", "9 Rowan Street", 6004, "furnace", "lake shore", 3, ("no heat", 1),
              crew="Cedar crew", installed="2012-10", next_visit="2026-04-20"),
    FleetSite("spruce-14", "14 Spruce Street", 6005, "furnace", "lake shore", 2,
              crew="Cedar crew", dialect="offset"),
    FleetSite("sumac-30", "30 Sumac Drive", 6007, "furnace_ac", "lake shore", 4,
              crew="Cedar crew", agreement="none"),
    FleetSite("willow-7", "7 Willow Bend", 6013, "furnace_ac", "lake shore", 4, crew="Cedar crew",
              call_first=True),
    FleetSite("bay-10", "10 Bay Street", 6006, "heat_pump", "gulf coast", 3,
              ("aux too readily", 3), crew="Dogwood crew", installed="2020-03"),
    FleetSite("magnolia-25", "25 Magnolia Street", 6008, "heat_pump", "gulf coast", 3,
              crew="Dogwood crew", dialect="epoch"),
    FleetSite("palm-16", "16 Palm Court", 6009, "heat_pump", "gulf coast", 2,
              crew="Dogwood crew"),
    FleetSite("mesquite-1", "1 Mesquite Trail", 6010, "heat_pump", "low desert", 2,
              crew="Dogwood crew", agreement="twice a year"),
    FleetSite("yucca-13", "13 Yucca Road", 6011, "heat_pump", "low desert", 3,
              crew="Dogwood crew", dialect="unit line"),
    FleetSite("acacia-22", "22 Acacia Street", 6014, "heat_pump", "low desert", 3,
              trouble="cannot be read", crew="Dogwood crew"),
)  # fmt: skip

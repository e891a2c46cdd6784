"""What a replay's page says, as plain records; its report reads nothing else."""

from __future__ import annotations

from dataclasses import dataclass

CANNOT_KNOW = (
    "Calls stay as they were logged. With less second stage a call would have lasted longer, with "
    "more it would have ended sooner; the room, the thermostat and the next call would have "
    "followed.",
    "Air and temperatures stay as they were logged: another setting would have changed static, "
    "supply air and what relief did about them.",
    "A replay says what would have been commanded, not that it is good for the equipment or "
    "allowed by its instructions; it is no reason to leave out the checks at the unit.",
)


@dataclass(frozen=True)
class Column:
    """A column of figures. unit: h, min, %, runs, starts, trips, times or '' for a count."""

    title: str
    unit: str


@dataclass(frozen=True)
class Line:
    """One row: what was set, and the figures. is_present: as set on site."""

    labels: tuple[str, ...]
    values: tuple[float | None, ...]
    is_present: bool = False


@dataclass(frozen=True)
class ReplayTable:
    """One small table.

    heads : titles of the labels; drawn : which column the plot shows; None: no plot
    sentence : what changes, in words and numbers
    notes : what this table in particular cannot know
    """

    key: str
    title: str
    heads: tuple[str, ...]
    columns: tuple[Column, ...]
    lines: tuple[Line, ...]
    sentence: str
    notes: tuple[str, ...] = ()
    drawn: int | None = None


@dataclass(frozen=True)
class Reproduced:
    """Whether the replay at the settings as found gives what was logged.

    logged, replayed : the same figure both ways, in `unit`
    """

    what: str
    logged: float
    replayed: float
    unit: str
    agrees: bool
    why: str


@dataclass(frozen=True)
class Replay:
    """Everything the page says. start_ts, end_ts : the log looked at."""

    site_id: str
    name: str
    timezone: str
    start_ts: int
    end_ts: int
    asked: tuple[tuple[str, tuple[float, ...]], ...]
    tables: tuple[ReplayTable, ...]
    reproduced: tuple[Reproduced, ...]
    cannot_know: tuple[str, ...]
    cautions: tuple[str, ...]
    units: str
    tool_version: str

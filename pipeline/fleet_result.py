"""What the fleet page and the light site pages are made of: plain records, no store, no connection.

`pipeline.fleet` fills them from fleet.duckdb; `reports/` reads nothing else. Dates are local dates
of the site, instants UTC epoch microseconds, values in store units (°F, in. w.c., s). Every
sentence in here was built from the same record as the numbers beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from pipeline.result import Span

GROUPS = ("on top", "ranked", "not cleared", "nothing found", "broken")
"""Where a site stands on the page, in this order.

on top : safety, no heat or no cooling; outside the ranking, `top` says which
ranked : something is found that is worth a visit or a call; by expected harm
not cleared : nothing is found, and the log could not have shown it: `reasons` say why
nothing found : these conditions were not seen in these hours
broken : the site could not be read; `broken` says file, line and reason
"""

TOPS = ("safety", "no heat", "no cooling")
"""Why a site stands on top, the gravest first."""

STATUSES = ("came back", "new", "standing", "not seen lately", "gone")
"""What became of a finding.

came back : it was gone, or a visit that was to mend it was marked done, and it is found again
new : first seen since the date asked about
standing : seen before that date and still there
not seen lately : the last time looked at could not show it either way
gone : the last time looked at could have shown it and did not
"""

WAYS = ("phone", "truck", "two people", "licence")
"""What settles it, by the findings' checks, from the least effort to the most."""


@dataclass(frozen=True)
class Interval:
    """A number with what chance leaves open: `low` to `high` at 90 %, `expected` between them."""

    expected: float
    low: float
    high: float


@dataclass(frozen=True)
class Harm:
    """What a finding, or a site, is expected to do in the month to come.

    points : severity weight x share of days x days of the coming month in which its state will
        occur; comparable within one fleet only
    n_found, n_looked : days on which it was seen, of those on which it could have been; None for a
        site as a whole
    per : those days in words: 'days with heat'
    rate : share of such days with it, the fleet's experience mixed in
    fleet_rate : the same over all sites that could show it
    season : share of the coming month's days on which its state will occur
    is_shrunk : few days: the fleet's rate says more than the site's own
    """

    points: Interval
    n_found: int | None = None
    n_looked: int | None = None
    per: str = ""
    rate: Interval | None = None
    fleet_rate: float | None = None
    season: float = 1.0
    is_shrunk: bool = False


@dataclass(frozen=True)
class FleetFinding:
    """One finding of one site with its history.

    severity : of the newest unit that found it; certainty likewise
    summary : one sentence of the newest unit that found it, with numbers and clock times
    status : one of STATUSES; first_seen, last_seen : local days of the first and last event
    last_looked : local day up to which the log could have shown it; None: never
    gone_since : local day from which it is gone; None while it is there
    came_back_after : the visit after which it came back, in words with its date; '' if it did not
    n_weeks_found, n_weeks_looked : weeks in which it was found, and in which it could have been
    way : one of WAYS; checks : the first steps; cautions : what not to do
    parts : what to bring or stock for it, as far as its causes tell
    harm : None for what is gone
    """

    code: str
    title: str
    severity: str
    about: str
    certainty: str
    summary: str
    status: str
    first_seen: date
    last_seen: date
    last_looked: date | None
    n_weeks_found: int
    n_weeks_looked: int
    way: str
    harm: Harm | None = None
    gone_since: date | None = None
    came_back_after: str = ""
    causes: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class UnusualDay:
    """A day that this weather does not explain, with what made it so.

    score : how far out, as a multiple of the limit from which a day is called unusual
    reasons : one sentence each, the largest first, with the amount and what was expected
    """

    day: date
    score: float
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class StepChange:
    """A lasting change of one daily figure, weather taken into account.

    day : first day of the new level; before, after : in the figure's own unit
    label, unit : of the figure; sentence : all of it in words
    """

    day: date
    figure: str
    label: str
    unit: str
    before: float
    after: float
    sentence: str


@dataclass(frozen=True)
class Peers:
    """The sites a site is compared with.

    site_ids : those of the same kind, stages, zones and climate; alike : what they share, in words
    is_compared : False with too few peers; why_not says so
    is_unusual, distance : as UnusualDay.score; differs : how it differs, in words, largest first
    """

    site_ids: tuple[str, ...]
    alike: str
    is_compared: bool
    why_not: str = ""
    is_unusual: bool = False
    distance: float | None = None
    differs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Trend:
    """One key rate by week, oldest first.

    weeks : Monday of each week; values : None where the week has too little exposure
    exposure_h : hours of the state the rate is taken over
    """

    figure: str
    label: str
    unit: str
    weeks: tuple[date, ...]
    values: tuple[float | None, ...]
    exposure_h: tuple[float, ...]


@dataclass(frozen=True)
class DayFigures:
    """One local day at a glance, for the site's own page; None where not seen.

    covered_h : hours of the day that were logged
    is_unusual : flagged among UnusualDay
    """

    day: date
    covered_h: float
    heat_h: float | None = None
    cool_h: float | None = None
    outdoor_f: float | None = None
    n_trips: int | None = None
    n_starts: int | None = None
    above_target_h: float | None = None
    is_unusual: bool = False


@dataclass(frozen=True)
class FleetSite:
    """One site: a row of the fleet page, and all of its light page.

    folder : below the fleet's folder, with forward slashes; page : of its light page, below
        report/, or '' if it has none
    full_report : of the page that a review wrote, below the fleet's folder; '' if there is none
    kind, heating_stages, cooling_stages, n_zones : what is installed; None: not given
    installed : year, or what the site file says; next_visit : booked, as a date; None if none or
        no date (then next_visit_text holds what the site file says)
    logged : from the first reading to the last; n_days with readings; coverage of the days
        between; quiet_days : days from the last reading to the run
    heat_h, cool_h : hours seen running, of all units
    group, top, rank : as GROUPS and TOPS; rank from 1 within 'ranked', else None; tie : ranks of
        which chance alone decides the order among them share one number
    harm : of the site: sum over its findings; None unless ranked or on top
    way : the greatest of its findings' ways; why_way in words
    reasons : why it stands where it stands, in words, the most important first
    broken : the message of a site that could not be read, with file and line; '' else
    """

    site_id: str
    folder: str
    name: str
    group: str
    kind: str = ""
    heating_stages: int | None = None
    cooling_stages: int | None = None
    n_zones: int = 0
    timezone: str = "UTC"
    region: str = ""
    agreement: str = ""
    installer: str = ""
    installed: str = ""
    call_first: bool = False
    complaint: str = ""
    next_visit: date | None = None
    next_visit_text: str = ""
    page: str = ""
    full_report: str = ""
    logged: Span | None = None
    first_day: date | None = None
    last_day: date | None = None
    n_days: int = 0
    coverage: float | None = None
    quiet_days: int | None = None
    heat_h: float | None = None
    cool_h: float | None = None
    top: str = ""
    rank: int | None = None
    tie: int | None = None
    harm: Harm | None = None
    way: str = ""
    why_way: str = ""
    parts: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    broken: str = ""
    findings: tuple[FleetFinding, ...] = ()
    visits: tuple[Span, ...] = ()
    unusual_days: tuple[UnusualDay, ...] = ()
    step_changes: tuple[StepChange, ...] = ()
    peers: Peers | None = None
    trends: tuple[Trend, ...] = ()
    days: tuple[DayFigures, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class Shared:
    """One thing behind many sites: a setting, an installer, an install year.

    what : 'setting', 'installer' or 'installed'; value as text with unit
    code : the finding that these sites share; '' where the setting itself is the point
    n_with, n_found : sites that have it, and of those the ones with the finding; n_other,
        n_other_found : the same of all other sites
    sentence : '31 of 40 sites with minimum zones = 1 trip; 6 of 160 others do'
    """

    what: str
    name: str
    value: str
    code: str
    n_with: int
    n_found: int
    n_other: int
    n_other_found: int
    site_ids: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class Change:
    """A finding that is new, came back or is gone since the date asked about."""

    site_id: str
    code: str
    title: str
    severity: str
    status: str
    day: date
    sentence: str


@dataclass(frozen=True)
class RunFacts:
    """How this run went.

    run_day : the date that ages and seasons are counted from; since : what 'new' and 'gone' mean
    n_units, n_made, n_reused : weeks of sites there are, judged in this run, and taken as they were
    numbers : the judgement numbers behind ranking and flags, by name in pipeline.thresholds
    was_of_another_version : fleet.duckdb was, and was made anew but for the ranks of earlier days
    """

    run_id: str
    tool_version: str
    run_day: date
    since: date
    n_sites: int
    n_broken: int
    n_units: int
    n_made: int
    n_reused: int
    jobs: int
    numbers: tuple[tuple[str, float], ...] = ()
    was_of_another_version: bool = False


@dataclass(frozen=True)
class FleetResult:
    """Everything the fleet page is made of.

    sites : on top first, then ranked, then the rest as in GROUPS; within a group by rank or name
    changes : since run.since, the gravest first
    parts : what to stock for the visits to come: (part, number of sites)
    trends : key rates of the whole fleet by week
    unusual_why_not : why days and sites were not compared, where they were not; '' else
    """

    name: str
    sites: tuple[FleetSite, ...]
    shared: tuple[Shared, ...]
    changes: tuple[Change, ...]
    parts: tuple[tuple[str, int], ...]
    trends: tuple[Trend, ...]
    run: RunFacts
    units: str = "us"
    redacted: bool = False
    unusual_why_not: str = ""

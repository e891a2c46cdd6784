"""What is said of unusual days, changes and sites: plain records for pages and review.json.

Figures are in store units (h for times, °F, in. w.c., counts); the sentences are in the units that
were asked for and built from the same figures.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

UNUSUAL = "unusual"
USUAL = "usual"
NOT_JUDGED = "not judged"
JUDGED = "judged"
CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Departure:
    """One figure of a day or a site that is not as it would be expected.

    feature : name in pipeline.unusual.features
    name : what it is, in words
    value, expected, low, high : the figure, what was expected, and where 9 in 10 alike lie
    unit : of these four
    size : how far off, in robust deviations of its own history (of its peers); signed
    given_others : the figure is usual by itself, and not for what else the same day showed
    sentence : all of it in words, with units
    """

    feature: str
    name: str
    value: float
    expected: float
    low: float
    high: float
    unit: str
    size: float
    sentence: str
    given_others: bool = False


@dataclass(frozen=True)
class DayJudged:
    """One local day against the site's own past.

    result : 'unusual', 'usual' or 'not judged'
    why : the reasons in one sentence; why it was not judged; '' for a usual day
    score : how unusual: the site's own level for a flag is 1; None where not judged
    departures : what made it unusual, the most unusual first, three at most
    """

    day: dt.date
    start_ts: int
    end_ts: int
    result: str
    why: str
    score: float | None
    departures: tuple[Departure, ...] = ()


@dataclass(frozen=True)
class DaysJudged:
    """All days of a site's log.

    result : 'judged' or 'cannot tell'
    why : what it rests on, or why it cannot be told, in one sentence
    share : the share of usual days that may be flagged by chance, as set
    n_judged : days with enough logged to be judged
    n_more : days still to be logged before they can be judged; 0 when judged
    """

    result: str
    why: str
    share: float
    n_judged: int
    n_more: int
    days: tuple[DayJudged, ...] = ()

    @property
    def unusual(self) -> tuple[DayJudged, ...]:
        """The days that are flagged, in order of time."""
        return tuple(d for d in self.days if d.result == UNUSUAL)


@dataclass(frozen=True)
class Step:
    """One figure that changed and stayed changed, weather taken out.

    kind : 'step', or 'slope' for a steady drift from `day` to `end_day`
    day : first local day of the new level (of the drift)
    first_day, last_day : the change lies between these for all that can be told
    end_day : last day of the drift, None for a step
    before, after : medians at like weather; of a drift: its first and last level
    size, size_low, size_high : after less before, with its interval; of a drift: in 30 days
    n_before, n_after : days behind the two medians
    """

    feature: str
    name: str
    kind: str
    day: dt.date
    first_day: dt.date
    last_day: dt.date
    end_day: dt.date | None
    before: float
    after: float
    size: float
    size_low: float
    size_high: float
    unit: str
    n_before: int
    n_after: int
    sentence: str


@dataclass(frozen=True)
class Change:
    """Figures that changed together.

    day : first local day of the new state (of a drift: its first day)
    first_day, last_day : between these it happened, for all that can be told
    visit : what was done at a visit in that time, '' if no visit is known of
    why : in one sentence
    steps : the figures, the clearest first
    """

    day: dt.date
    first_day: dt.date
    last_day: dt.date
    visit: str
    why: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class ChangesJudged:
    """Changes that stayed, by date.

    result, why, n_judged, n_more : as for days
    share : the chance that a log without any change shows one, as set
    """

    result: str
    why: str
    share: float
    n_judged: int
    n_more: int
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True)
class Unusual:
    """One site against its own past."""

    days: DaysJudged
    changes: ChangesJudged


@dataclass(frozen=True)
class SiteJudged:
    """One site against its peers.

    result : 'unusual', 'usual' or 'cannot tell' (fewer peers than it takes)
    why : the reasons in one sentence, or why it cannot be told
    score : how unusual, 1 is the level of a flag; None where it cannot be told
    peers : site ids it was compared with, the likest weather first
    alike : what peers have in common with it, in words
    """

    site_id: str
    result: str
    why: str
    score: float | None
    peers: tuple[str, ...]
    alike: str
    departures: tuple[Departure, ...] = ()


@dataclass(frozen=True)
class SitesJudged:
    """All sites of a fleet against their peers.

    share : the share of usual sites that may be flagged by chance, as set
    sites : one per site, in the order of site id
    """

    share: float
    sites: tuple[SiteJudged, ...] = ()

    def of(self, site_id: str) -> SiteJudged:
        """The site's own. Raises KeyError for a site that was not among those judged."""
        for site in self.sites:
            if site.site_id == site_id:
                return site
        raise KeyError(site_id)

"""What relief did about static over target: rows of interval.relief_answer by what came of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings._rooms import columns
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.findings._static import answer_s, opened_words, openings
from pipeline.findings._windows import Event, lines

DAY_S = 86400
ANSWERED = ("answered", "late")
MISSING = ("missing", "no fall seen")
SAID = {
    "answered": "relief answered",
    "late": "relief came late",
    "missing": "no relief",
    "no fall seen": "static did not fall",
    "used up": "every free relief damper open",
    "open already": "a relief damper stood open from before",
    "not possible": "no relief zone free",
    "ended first": "over before relief was due",
    "changed first": "calls changed before relief was due",
    "fell with a bypass": "fell, which a bypass does by itself",
}


@dataclass(frozen=True)
class Relief:
    """Stretches over target that count, visits and purge left out.

    rows : all of them, in order of time; mine : those of the finding
    opened : (zones free to relieve, those whose damper stood open) of `mine`
    target_inwc : panel's target; None if not given
    """

    site: SiteFrames
    rows: list[Any]
    mine: list[Any]
    opened: list[tuple[frozenset[int], frozenset[int]]]
    target_inwc: float | None

    @property
    def n(self) -> int:
        """Stretches of the finding."""
        return len(self.mine)

    @property
    def days(self) -> float:
        """Days looked at, one at least."""
        return max(1.0, self.site.window_s / DAY_S)

    def count(self, *outcomes: str) -> int:
        """How many of all stretches came to one of these."""
        return sum(r.outcome in outcomes for r in self.rows)

    @property
    def has_dampers(self) -> bool:
        """Whether dampers were logged: else only whether static fell."""
        return "zone_damper" in self.site.logged_roles

    @property
    def by_name(self) -> str:
        """Which relief dampers opened and which never did; '' where dampers were not logged."""
        if not self.has_dampers or not any(free for free, _ in self.opened):
            return ""
        return opened_words(self.site, self.opened, "stretch over target", "stretches over target")

    @property
    def others(self) -> str:
        """What became of the other stretches, as a clause."""
        own = {id(r) for r in self.mine}
        left = [r for r in self.rows if id(r) not in own]
        if not left:
            return ""
        counts = {o: sum(r.outcome == o for r in left) for o in SAID}
        told = [f"{SAID[o]} {words.times(n)}" for o, n in counts.items() if n]
        if not told:
            return ""
        n = words.count(len(left), "other stretch", "other stretches")
        return f"of {n} over target: {words.joined(told)}"


def load(site: SiteFrames, *outcomes: str) -> Relief:
    """The stretches over target, those of `outcomes` apart."""
    rows = site.table("interval.relief_answer")
    rows = rows[~flags(rows["in_visit"])].sort_values("start_ts")
    all_rows = [r for r in records(rows) if r.outcome in SAID]
    over = {int(r.start_ts): r for r in records(site.table("interval.static_above_target"))}
    for r in all_rows:
        r.over = over.get(int(r.start_ts))
        above_s = None if r.over is None else number(r.over.above_s)
        # a stretch lasts until static is clear of the target: most of it may lie just under
        if r.outcome in MISSING and above_s is not None and above_s < answer_s(site):
            r.outcome = "ended first"
    mine = [r for r in all_rows if r.outcome in outcomes]
    return Relief(
        site,
        all_rows,
        mine,
        _opened(site, mine),
        site.setting("static_target_inwc"),
    )


def _opened(site: SiteFrames, mine: list[Any]) -> list[tuple[frozenset[int], frozenset[int]]]:
    """For each stretch the relief zones that were free, and those of them that opened."""
    zones = site.table("run.zone")
    relief = {int(z) for z in zones.loc[flags(zones["is_relief"]), "zone"]}
    opened = openings(site)
    made = []
    for r in mine:
        calling = set(words.zone_numbers(r.over.zones)) if r.over is not None else set()
        free = frozenset(relief - calling)
        made.append((free, opened(int(r.start_ts), int(r.end_ts)) & free))
    return made


def events(f: Relief) -> list[Event]:
    """The finding's stretches as windows need them, in order of time."""
    return [_event(f.site, r) for r in f.mine]


def _event(site: SiteFrames, r: Any) -> Event:
    start, end = int(r.start_ts), int(r.end_ts)
    who = "" if r.over is None else f", {site.calling(r.over.zones)}"
    peak = None if r.over is None else number(r.over.max_inwc)
    up_to = "" if peak is None else f", up to {site.static(peak)}"
    length = words.duration((end - start) / 1e6)
    return Event(
        start_ts=start,
        end_ts=end,
        worth=peak or 0.0,
        say=f"{site.clock(start)}{who}, over target for {length}{up_to}",
        label=SAID[r.outcome],
        lines=lines(site, start, "static_target_inwc"),
    )


def table(f: Relief) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The finding's stretches as text."""
    site, rows = f.site, f.mine
    return columns(
        rows,
        ("When", (site.clock(int(r.start_ts)) for r in rows)),
        ("For", (words.duration((int(r.end_ts) - int(r.start_ts)) / 1e6) for r in rows)),
        ("Calling", ("–" if r.over is None else site.zones(r.over.zones) for r in rows)),
        ("Highest", ("–" if r.over is None else site.static(float(r.over.max_inwc)) for r in rows)),
        ("Free relief zones", ("–" if r.n_free is None else str(int(r.n_free)) for r in rows)),
        ("Of them open", ("–" if r.n_open is None else str(int(r.n_open)) for r in rows)),
    )


def due(site: SiteFrames) -> str:
    """How long relief may take at most before it is called missing, in words."""
    return words.duration(2 * answer_s(site))

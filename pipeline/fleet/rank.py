"""Expected harm: what a site's findings may do in the month to come, and the order it makes.

A finding's rate is the share of days on which it was seen, of the days on which it could have been
(enough time in the state that shows it). Days, not events: one bad night with forty trips is one
night. The rate of few days leans on the fleet's (empirical Bayes, a beta distribution per finding),
the more the fewer they are; so neither one bad day out of one nor none out of two leads anywhere.
Harm is severity weight x rate x days of the coming month in which that state will occur. Findings
that go together count once, by the worst of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.fleet_result import Harm, Interval

NINE_IN_TEN = (0.05, 0.95)


@dataclass(frozen=True)
class Seen:
    """One finding of one site in days.

    n_looked, n_found : days on which it could have been seen, and was
    weight : mean severity weight of the days on which it was seen
    """

    site_id: str
    n_looked: int
    n_found: int
    weight: float = 0.0


@dataclass(frozen=True)
class Rate:
    """Share of days, with the fleet's experience mixed in."""

    share: Interval
    fleet: float
    is_shrunk: bool


def rates(seen: Sequence[Seen], numbers: Mapping[str, float]) -> dict[str, Rate]:
    """The rate of one finding at every site, by site id.

    seen : every site that could show it, those that never did among them
    """
    from scipy.special import betaincinv

    looked = [s for s in seen if s.n_looked]
    mean, strength = _prior(looked, numbers)
    made = {}
    for s in seen:
        a = mean * strength + s.n_found
        b = (1 - mean) * strength + s.n_looked - s.n_found
        low, high = (float(betaincinv(a, b, q)) for q in NINE_IN_TEN)
        made[s.site_id] = Rate(
            share=Interval(a / (a + b), low, high),
            fleet=mean,
            is_shrunk=s.n_looked < numbers["fleet_rate_min_days"],
        )
    return made


def _prior(looked: Sequence[Seen], numbers: Mapping[str, float]) -> tuple[float, float]:
    """The fleet's rate, and how many days it weighs as much as.

    By the moments of the beta-binomial distribution: what the sites' shares spread by beyond the
    chance of so few days each.
    """
    n = sum(s.n_looked for s in looked)
    mean = (sum(s.n_found for s in looked) + 0.5) / (n + 1)
    if len(looked) < numbers["fleet_prior_min_sites"]:
        return mean, numbers["fleet_prior_days"]
    # each site's squared distance, weighed by its days, against what chance alone would give
    spread = sum(s.n_looked * (s.n_found / s.n_looked - mean) ** 2 for s in looked)
    by_chance = mean * (1 - mean)
    n_sites = len(looked)
    weight = n - sum(s.n_looked**2 for s in looked) / n
    beyond = (spread - (n_sites - 1) * by_chance) / (by_chance * max(weight - (n_sites - 1), 1e-9))
    if beyond <= 0:
        return mean, numbers["fleet_prior_most_days"]
    strength = max(1 / beyond - 1, numbers["fleet_prior_least_days"])
    return mean, min(strength, numbers["fleet_prior_most_days"])


def harm(seen: Seen, rate: Rate, season_share: float, per: str, month_days: float) -> Harm:
    """What one finding is expected to do: weighted days of the coming month.

    season_share : of the coming days, those on which its state will occur
    per : the days that were looked at, in words
    """
    factor = seen.weight * season_share * month_days
    return Harm(
        points=_times(rate.share, factor),
        n_found=seen.n_found,
        n_looked=seen.n_looked,
        per=per,
        rate=rate.share,
        fleet_rate=rate.fleet,
        season=season_share,
        is_shrunk=rate.is_shrunk,
    )


def together(harms: Mapping[str, Harm], goes_with: Mapping[str, Sequence[str]]) -> Harm:
    """A site's harm: the worst of each group of findings that go together, added up.

    goes_with : finding -> findings that bring it about
    """
    group = {code: code for code in harms}
    for code in harms:
        for other in goes_with.get(code, ()):
            if other in group:
                old, new = group[code], group[other]
                group = {c: new if g == old else g for c, g in group.items()}
    worst = [
        max((harms[c] for c in harms if group[c] == g), key=lambda h: h.points.expected)
        for g in sorted(set(group.values()))
    ]
    expected = sum(h.points.expected for h in worst)
    # findings err independently of one another: their distances add as squares do
    down = sum((h.points.expected - h.points.low) ** 2 for h in worst) ** 0.5
    up = sum((h.points.high - h.points.expected) ** 2 for h in worst) ** 0.5
    return Harm(
        points=Interval(expected, max(expected - down, 0.0), expected + up),
        is_shrunk=all(h.is_shrunk for h in worst),
    )


def _times(share: Interval, factor: float) -> Interval:
    return Interval(share.expected * factor, share.low * factor, share.high * factor)


@dataclass(frozen=True)
class Place:
    """Where a site stands: ranks from 1; sites of one tie may as well stand the other way round."""

    site_id: str
    rank: int
    tie: int


def order(points: Mapping[str, Interval], call_first: frozenset[str] = frozenset()) -> list[Place]:
    """Sites by expected harm; within a tie customers to be called first lead.

    A tie begins at its worst site and takes in all that chance may put in its place: their expected
    harm lies within what chance leaves open for it, or its own within what is open for them.
    """
    by_harm = sorted(points, key=lambda s: (-points[s].expected, s))
    ties: list[list[str]] = []
    for site_id in by_harm:
        lead = points[ties[-1][0]] if ties else None
        own = points[site_id]
        if lead is None or (own.expected < lead.low and own.high < lead.expected):
            ties.append([])
        ties[-1].append(site_id)
    made: list[Place] = []
    for number, tie in enumerate(ties, start=1):
        for site_id in sorted(tie, key=lambda s: s not in call_first):  # else as they stand
            made.append(Place(site_id, len(made) + 1, number))
    return made

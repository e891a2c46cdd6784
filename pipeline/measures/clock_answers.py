"""What the links between two loggers say together: offset, drift, and what each link takes.

A clock that gains or loses moves the later edges away from the earlier. Where one offset does not
gather the edges, some drifts are tried; whatever is found, the edges' times are followed along the
log and what they grow by is taken as drift.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.measures.clock_dampers import damper_answers
from pipeline.measures.clock_links import Candidate, heat_told_backwards
from pipeline.measures.clock_logger import Logger
from pipeline.measures.edge_match import Match, Peak, match, moved, onset, rate_left, search

GUARD_S = 300.0  # the second-best offset is looked for beyond this: nearer, delays still overlap
# tried in this order until one is clear; a clock that is worse is seen to be by whoever reads it
DRIFTS_S_PER_DAY = (0.0, *(sign * rate for rate in range(15, 106, 15) for sign in (1.0, -1.0)))
DRIFT_REACH_S = 120.0  # how far an edge may lie from the rest before the drift is known
MINUTE_S = 60.0
HOUR_S = 3600.0
DAY_S = 86400.0


@dataclass(frozen=True)
class Answer:
    """A matched link with the bounds of its delay as they are used.

    pair, is_on : as in Candidate
    is_damper : static's answer to a damper: no timer can stand between
    """

    match: Match
    pair: str
    is_on: bool
    low_s: float
    high_s: float
    is_damper: bool = False

    def likely_s(self, limits: Mapping[str, float]) -> float:
        """The offset if the delay is what such delays usually are."""
        longest = self.low_s + self.high_s  # one of them is 0, or they are opposite
        delay = limits["clock_delay_likely_share"] * longest
        if abs(longest) <= MINUTE_S:
            most = limits["clock_delay_likely_s"]
            delay = min(max(delay, -most), most)
        return self.match.at_s - delay


@dataclass(frozen=True)
class Drift:
    """How a clock's difference grows.

    rate : s per s; middle_s, span_s : middle and length of the causes' time
    """

    rate: float
    middle_s: float
    span_s: float

    @property
    def total_s(self) -> float:
        """How much it grows over the log."""
        return abs(self.rate) * self.span_s

    def applied(self, links: Sequence[Candidate]) -> list[Candidate]:
        """The links with their causes where the drifting clock would have logged them."""
        if self.rate == 0:
            return list(links)
        return [
            replace(
                c,
                link=moved(c.link, self.rate, self.middle_s),
                others_s=c.others_s + self.rate * (c.others_s - self.middle_s),
            )
            for c in links
        ]


def search_with_drift(
    links: Sequence[Candidate], limits: Mapping[str, float]
) -> tuple[Drift, Peak | None]:
    """The offset that serves all links: without drift if that is clear, else with one that is."""
    at = np.concatenate([c.link.cause.at_s for c in links])
    drift = Drift(0.0, float(at.min() + at.max()) / 2, float(at.max() - at.min()))
    # few answers may be chance at a wrong drift, so then the others are tried as well
    enough = limits["clock_shown_share"] * max(
        min(len(c.link.cause), len(c.link.effect)) for c in links
    )
    first, best = None, None
    for rate in DRIFTS_S_PER_DAY:
        tried = replace(drift, rate=rate / DAY_S)
        peak = search(
            [c.link for c in tried.applied(links)],
            limits["clock_search_h"] * HOUR_S,
            GUARD_S,
        )
        first = first or peak
        if peak is None or not is_clear(peak, tried, limits):
            continue
        if best is None or peak.n > best[1].n / limits["clock_max_runner_up_share"]:
            best = tried, peak
        if peak.n >= enough or drift.span_s < limits["clock_drift_min_days"] * DAY_S:
            break
    return best or (drift, first)


def is_backwards(
    reference: Logger, other: Logger, has_burner: bool, peak: Peak, limits: Mapping[str, float]
) -> bool:
    """Whether supply air answers heat with its on and off exchanged.

    So it is where it does so far more often, or about as often and with clocks that agree, while as
    told they do not: runs of like length make it so. The state is then told the other way round (a
    check of channels says so), and what its edges seemed to show of the clock is chance.
    """
    turned = heat_told_backwards(reference, other, has_burner, limits)
    if not turned:
        return False
    found = search([c.link for c in turned], limits["clock_search_h"] * HOUR_S, GUARD_S)
    if found is None:
        return False
    share = limits["clock_max_runner_up_share"]
    agree = found.low_s - MINUTE_S <= 0 <= found.high_s + MINUTE_S
    agree_as_told = peak.low_s - MINUTE_S <= 0 <= peak.high_s + MINUTE_S
    return found.n > peak.n / share or (found.n > peak.n * share and agree and not agree_as_told)


def is_clear(peak: Peak, drift: Drift, limits: Mapping[str, float]) -> bool:
    """Whether no other offset fits nearly as well; with a drift to fit too, by more."""
    allowed = limits["clock_max_runner_up_share"]
    return peak.runner_up <= (allowed if drift.rate == 0 else allowed**2)


def measured(
    reference: Logger,
    other: Logger,
    links: Sequence[Candidate],
    drift: Drift,
    peak: Peak,
    limits: Mapping[str, float],
) -> tuple[Drift, list[Answer]]:
    """The drift as the edges follow it, and the links that answer with what each takes.

    Causes too few or too scattered to time leave no answers.
    """
    tracked = _tracked(links, drift, peak, limits)
    on_course = tracked.applied(links)
    if tracked.rate != drift.rate:  # another drift has its middle at another offset
        again = search([c.link for c in on_course], limits["clock_search_h"] * HOUR_S, GUARD_S)
        peak = again or peak
    answers = _answers(on_course, peak, limits)
    answers += _dampers(reference, other, answers, tracked, limits)
    return tracked, [_without_timer(a, answers, limits) for a in answers]


def _answers(links: Sequence[Candidate], peak: Peak, limits: Mapping[str, float]) -> list[Answer]:
    """The links that answer at the peak, each with what it takes and the bounds of its delay."""
    answers = []
    for candidate in links:
        found = match(candidate.link, peak)
        few = limits["clock_min_edges"] / 2  # two kinds of edge together make enough
        if found is None or found.n < few or found.share < limits["clock_min_share"]:
            continue
        low_s, high_s = candidate.link.low_s, candidate.link.high_s
        if candidate.turning is not None:
            bend = onset(
                found,
                candidate.turning,
                candidate.downwards,
                candidate.others_s,
                limits["clock_turn_min_f"],
            )
            if bend is None:
                high_s += limits["clock_turn_lag_s"]
            else:
                found = bend
        answers.append(Answer(found, candidate.pair, candidate.is_on, low_s, high_s))
    return answers


def _dampers(
    reference: Logger,
    other: Logger,
    answers: Sequence[Answer],
    drift: Drift,
    limits: Mapping[str, float],
) -> list[Answer]:
    """Static's answers to dampers, where its answers to the fan leave a timer possible."""
    fan = [a for a in answers if a.match.link.effect_words.startswith("static")]
    if not fan or drift.rate != 0:  # soft edges are laid over one another: none with a drift
        return []
    soft_s = limits["clock_damper_soft_s"]
    low = max(a.match.at_s - a.high_s for a in fan) - soft_s
    high = min(a.match.at_s - a.low_s for a in fan) + soft_s
    if high <= low:
        return []
    return [
        Answer(found, "", False, -soft_s, soft_s, is_damper=True)
        for found in damper_answers(reference, other, low, high, limits)
    ]


def _without_timer(
    answer: Answer, answers: Sequence[Answer], limits: Mapping[str, float]
) -> Answer:
    """The answer, its bounds drawn in where on and off answer alike.

    Boards hold a fan back at its start and let it run on at its end, mostly for different times
    (common practice): on and off alike means that neither is delayed, or both by the same time,
    which is no longer than boards hold a fan back at its start. It is the former where they answer
    at once (a wrong clock that just makes up for a timer would be an odd chance), or as a damper
    does.
    """
    prompt_s = limits["clock_delay_prompt_s"]
    alike = [
        other
        for other in answers
        if answer.pair
        and other.pair == answer.pair
        and other.is_on != answer.is_on
        and abs(other.match.at_s - answer.match.at_s) <= prompt_s
        and min(answer.match.n, other.match.n) >= limits["clock_min_edges"]
    ]
    if not alike:
        return answer
    at_s, link = answer.match.at_s, answer.match.link
    half_s = link.cause.half_s + link.effect.half_s
    at_once = abs(at_s) <= prompt_s + half_s
    as_dampers = any(
        other.is_damper and abs(other.match.at_s - at_s) <= other.high_s + half_s
        for other in answers
    )
    most_s = prompt_s if at_once or as_dampers else limits["clock_delay_fan_on_s"]
    return replace(answer, low_s=max(answer.low_s, -most_s), high_s=min(answer.high_s, most_s))


def _tracked(
    links: Sequence[Candidate], drift: Drift, peak: Peak, limits: Mapping[str, float]
) -> Drift:
    """The drift that the answers' times follow; none where it stays below what shows.

    Within a day or two the weather alone moves the turn of supply air about.
    """
    if drift.rate == 0 and drift.span_s < limits["clock_drift_min_days"] * DAY_S:
        return drift
    for _ in range(12):
        found = [match(c.link, peak, DRIFT_REACH_S) for c in drift.applied(links)]
        used = [m for m in found if m is not None and m.n >= limits["clock_min_edges"]]
        if not used:
            break
        more = rate_left(used)
        drift = replace(drift, rate=drift.rate + more)
        if abs(more) * drift.span_s < 1:
            break
    slowest_s = max(2 * max(c.link.cause.half_s, c.link.effect.half_s) for c in links)
    if drift.total_s < max(limits["clock_drift_min_s"], 2 * slowest_s):
        return replace(drift, rate=0.0)
    return drift

"""The tests of the static finding's causes: what this log says for and against each of them."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from pipeline import words
from pipeline.findings._base import Weighed, Weight
from pipeline.findings._clocks import doubtful
from pipeline.findings._static import Static, answer_s, relief_by_name, relief_unknown

BESIDE = ("output_g", "output_w1", "output_y1", "zone_call_w1", "zone_call_y1", "zone_damper")
"""What static is set beside to say who called, on which stage and with which damper open."""
NOT_ATTRIBUTED = "who called and on which stage was not logged together with static"


def _beside(test: Callable[[Static], Weighed]) -> Callable[[Static], Weighed]:
    """The test of a cause by who called, stage or dampers: on two clocks it settles nothing.

    Minutes off, static stands beside the wrong calls: what speaks for or against a cause is told,
    and said to be read again; nothing is ruled out by it and nothing is strong.
    """

    @wraps(test)
    def weighed(s: Static) -> Weighed:
        made = test(s)
        off = doubtful(s.site, (("static_pressure",), BESIDE))
        if not off or made.weight == Weight.OPEN:
            return made
        apart = words.joined(
            f"the clock of {c.logger} is {words.duration(abs(c.left_s or 0.0))} off" for c in off
        )
        weight = Weight.AGAINST if made.weight <= Weight.AGAINST else Weight.FITS
        return Weighed(weight, f"{made.because}; read again with the clocks put right: {apart}")

    return weighed


def over(s: Static) -> str:
    """The margin over target from which time counts for the finding."""
    return s.site.static(s.site.threshold("static_finding_over_inwc"))


def _that_time(s: Static) -> str:
    """What the causes' shares are parts of: settled, over target plus margin, heat or cooling."""
    hours = words.hours(s.running_margin_s)
    return f"the {hours} more than {over(s)} over target with heat or cooling on, dampers at rest,"


@_beside
def one_zone(s: Static) -> Weighed:
    """The cause: one zone alone cannot take the blower's air."""
    if not s.is_attributed:
        return Weighed(Weight.OPEN, NOT_ATTRIBUTED)
    alone, more = s.states["n_zones"] == 1, s.states["n_zones"] >= 2
    part = s.part(alone)
    other_share, other_s = s.share(more)
    said = f"{words.share(part)} of {_that_time(s)} came with one zone calling alone"
    zone, zone_part = s.zone_alone
    if zone:
        said += f", {words.share(zone_part)} with {s.site.zones(zone)}"
    said += (
        f"; with two or more zones calling it was that far over for {words.share(other_share)} of "
        f"{words.hours(other_s)}"
        if other_s > 0
        else "; two or more zones never called together long enough to compare"
    )
    if part < s.site.threshold("cause_share_min_frac"):
        return Weighed(Weight.AGAINST, said)
    ratio = s.site.threshold("cause_rate_ratio_min")
    telling = (
        other_s >= s.site.threshold("cause_other_min_h") * 3600
        and s.share(alone)[0] >= ratio * other_share
    )
    return Weighed(Weight.STRONG if telling else Weight.FITS, said)


@_beside
def second_stage(s: Static) -> Weighed:
    """The cause: second stage brings more air than the open ducts take."""
    if not s.is_attributed:
        return Weighed(Weight.OPEN, NOT_ATTRIBUTED)
    second = s.states["stage"] == 2
    part, (share_1, settled_1) = s.part(second), s.share(s.states["stage"] == 1)
    said = (
        f"{words.share(part)} of {_that_time(s)} came on second stage; on first stage it was that "
        f"far over for {words.share(share_1)} of {words.hours(settled_1)}"
    )
    if part == 0 and not {"output_w2", "output_y2"} & s.site.logged_roles:
        return Weighed(Weight.OPEN, "second stage was not logged")
    if part == 0:
        return Weighed(Weight.RULED_OUT, said)
    if part < s.site.threshold("cause_share_min_frac"):
        return Weighed(Weight.AGAINST, said)
    enough = settled_1 >= s.site.threshold("cause_other_min_h") * 3600
    return Weighed(Weight.STRONG if enough else Weight.FITS, said)


@_beside
def relief_missing(s: Static) -> Weighed:
    """The cause: relief does not answer."""
    reason = relief_unknown(s)
    if reason is not None:
        return Weighed(Weight.OPEN, reason)
    wait_s, least = 2 * answer_s(s.site), s.site.threshold("relief_missing_min_events")
    long = [x for x in s.long if x.free and x.length_s >= wait_s]
    n_none = sum(not x.opened for x in long)
    length = words.duration(wait_s)
    if not long:
        return Weighed(
            Weight.OPEN, f"it was never over target for {length} with a relief damper free to open"
        )
    if n_none:
        said = (
            f"no relief damper stood open in {words.of_all(n_none, len(long))} stretches over "
            f"target of {length} or more"
        )
        return Weighed(Weight.STRONG if n_none >= least else Weight.OPEN, _named(s, said))
    return Weighed(
        Weight.RULED_OUT if len(long) >= least else Weight.AGAINST,
        "a relief damper stood open every time it was over target for "
        f"{length} or more ({words.count(len(long), 'time')})",
    )


def _named(s: Static, said: str) -> str:
    """The sentence with the dampers' names behind it."""
    return "; ".join(part for part in (said, relief_by_name(s)) if part)


@_beside
def relief_limited(s: Static) -> Weighed:
    """The cause: relief is held back."""
    reason = relief_unknown(s)
    if reason is not None:
        return Weighed(Weight.OPEN, reason)
    opened = [x for x in s.long if x.opened]
    length = words.duration(answer_s(s.site))
    if not opened:
        return Weighed(Weight.AGAINST, "no relief damper opened at all")
    part = [x for x in opened if len(x.opened) < len(x.free)]
    if not part:
        return Weighed(
            Weight.AGAINST,
            f"every free relief damper stood open in {words.of_all(len(opened), len(opened))} "
            f"stretches of {length} or more: relief is used up",
        )
    most = max(len(x.opened) for x in part)
    free = sorted({len(x.free) for x in part})
    said = (
        f"in {words.of_all(len(part), len(opened))} stretches over target of {length} or more "
        f"no more than {words.number(most)} relief {'damper' if most == 1 else 'dampers'} stood "
        f"open, with {words.joined(map(words.number, free), last='or')} free to open"
    )
    said = _named(s, said)
    many = len(part) >= s.site.threshold("relief_missing_min_events")
    most_of_it = len(part) >= s.site.threshold("cause_share_min_frac") * len(opened)
    return Weighed(Weight.STRONG if many and most_of_it else Weight.FITS, said)


@_beside
def target(s: Static) -> Weighed:
    """The cause: the target is lower than these ducts need."""
    site = s.site
    if not s.is_attributed:
        return Weighed(Weight.OPEN, NOT_ATTRIBUTED)
    everyone = s.states["n_zones"] == s.n_zones_all
    share, settled_s = s.share(everyone)
    all_zones = f"all {words.number(s.n_zones_all)} zones"
    if settled_s < site.threshold("static_state_min_h") * 3600:
        if not settled_s:
            return Weighed(Weight.OPEN, f"{all_zones} never called together")
        together = f"for only {words.hours(settled_s)}"
        return Weighed(Weight.OPEN, f"{all_zones} called together {together}")
    said = (
        f"with {all_zones} calling static was more than {over(s)} over target for "
        f"{words.share(share)} of {words.hours(settled_s)}"
    )
    if share > site.threshold("static_state_share"):
        return Weighed(Weight.STRONG, said)
    if share <= site.threshold("static_share_watch_frac"):
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(Weight.AGAINST, said)


def zero(s: Static) -> Weighed:
    """The cause: the tap or the transducer's zero."""
    return Weighed(Weight.OPEN, "the transducer's zero was not checked with the fan off")

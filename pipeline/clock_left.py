"""What a reader must know of clocks that are off in the data of a run, wherever figures stand.

Told from the same record as the clock finding, so that a table and the finding cannot disagree.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings._clocks import Clock, off_clocks
from pipeline.findings._site import SiteFrames
from pipeline.result import SiteResult

BESIDE_STATES = ("supply_temp", "return_temp", "static_pressure")
"""What a ticket and a comparison set beside calls and stages to the minute."""


def clocks_left(result: SiteResult, *roles: str) -> list[Clock]:
    """Loggers of these roles (all loggers without any) that are off and not corrected here."""
    site = SiteFrames(
        result.site, result.window, dict(result.frames), dict(result.thresholds), result.units
    )
    off = off_clocks(site)
    if not off or not roles:
        return off
    channels = result.frames.get("channel.channel")
    if channels is None:
        return []
    own = set(channels.loc[channels["role"].isin(roles), "logger"])
    return [c for c in off if c.logger in own]


def clock_note(result: SiteResult, *roles: str) -> str:
    """The sentence that belongs under figures read by these roles; '' where no clock is off.

    'The clock of trunk_static runs 4 min ahead of panel_states and is not corrected here: what it
    read stands beside the wrong calls and stages.'
    """
    off = clocks_left(result, *roles)
    if not off:
        return ""
    many = len(off) > 1
    return (
        f"The {'clocks' if many else 'clock'} of {words.joined(ahead(c) for c in off)} "
        f"{'and are' if many else 'and is'} not corrected here: what "
        f"{'they' if many else 'it'} read stands beside the wrong calls and stages."
    )


def ahead(clock: Clock) -> str:
    """'trunk_static runs 4 min ahead of panel_states'."""
    left = clock.left_s or 0.0
    side = "ahead of" if left > 0 else "behind"
    return f"{clock.logger} runs {words.duration(abs(left))} {side} {clock.reference}"

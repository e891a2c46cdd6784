"""Loggers whose clocks disagree and are not corrected in this run: what rests on them is doubtful.

Used by the clock finding itself and by the framework, which will not let a rule that compares two
clocks say "not found", nor call anything it finds shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.findings._site import SiteFrames, number, records


@dataclass(frozen=True)
class Clock:
    """One row of trust.clock_offset. `left_s` is what has not been taken out, None if unknown."""

    logger: str
    reference: str
    offset_s: float | None
    applied_s: float
    plus_minus_s: float | None
    n_edge: int
    edge: str
    confidence: str
    why: str

    @property
    def left_s(self) -> float | None:
        """The part of the offset that still stands in the data of this run [s]."""
        return None if self.offset_s is None else self.offset_s - self.applied_s

    @property
    def is_found(self) -> bool:
        """Whether the comparison gave an offset that may be relied on."""
        return self.offset_s is not None and self.confidence in ("shown", "likely")


def clocks(site: SiteFrames) -> list[Clock]:
    """Every logger that was compared, in the table's order; empty where none was."""
    if not site.has_table("trust.clock_offset"):
        return []
    return [
        Clock(
            logger=row.logger,
            reference=row.reference_logger or "",
            offset_s=number(row.offset_s),
            applied_s=number(row.applied_s) or 0.0,
            plus_minus_s=number(row.plus_minus_s),
            n_edge=int(row.n_edge or 0),
            edge=row.edge or "",
            confidence=row.confidence or "cannot tell",
            why=row.why or "",
        )
        for row in records(site.table("trust.clock_offset"))
    ]


def off_clocks(site: SiteFrames) -> list[Clock]:
    """Loggers that are off by the warning threshold or more in the data of this run."""
    warn_s = site.threshold("clock_offset_warn_s")
    return [c for c in clocks(site) if c.is_found and abs(c.left_s or 0.0) >= warn_s]


def doubtful(site: SiteFrames, role_groups: Sequence[Sequence[str]]) -> list[Clock]:
    """The off clocks among the loggers of these roles, if the roles span more than one clock."""
    off = {c.logger: c for c in off_clocks(site)}
    if not off or not site.has_table("channel.channel"):
        return []
    wanted = {role for group in role_groups for role in group}
    channels = site.table("channel.channel")
    loggers = sorted(set(channels.loc[channels["role"].isin(wanted), "logger"]))
    if len(loggers) < 2:
        return []
    return [off[name] for name in loggers if name in off]

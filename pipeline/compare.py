"""Before and after: like hours with like hours, a plain verdict per measure, what got worse.

Reads the frames of one review over the whole log. Rates are told in the state that showed the
fault (the zones that called when it happened, on either side); visits are left out.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from pipeline import words
from pipeline.clock_left import BESIDE_STATES, clock_note
from pipeline.compare_measures import (
    BETTER,
    CANNOT,
    NEITHER,
    NOT_YET,
    VERDICTS,
    WORSE,
    Measures,
    Row,
)
from pipeline.result import SiteResult, Span

SCHEMA_NAME = "zonetrail.compare/1"


@dataclass(frozen=True)
class Comparison:
    """Everything the page says.

    before, after : the two windows; sentence : the whole in one sentence
    changed : what was done between them; cautions : what the numbers cannot part
    rises : rise against the plate, as sentences; weather : outdoor range of each side
    """

    site_id: str
    name: str
    timezone: str
    before: Span
    after: Span
    sentence: str
    rows: tuple[Row, ...]
    changed: tuple[str, ...]
    cautions: tuple[str, ...]
    rises: tuple[str, ...]
    weather: tuple[str, str]
    band_f: float
    units: str
    run_id: str
    tool_version: str
    redacted: bool


def compare(result: SiteResult, before: Span, after: Span) -> Comparison:
    """Before and after of one site.

    Raises InputError where the two windows cannot be compared at all, and says why.
    """
    return _Comparer(result, before, after).comparison()


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """The comparison as plain dictionaries and lists: compare.json. Temperatures stay °F."""
    from pipeline.review_measures import iso

    made = asdict(comparison)
    for side in ("before", "after"):
        span = made[side]
        made[side] = {"start": iso(span["start_ts"]), "end": iso(span["end_ts"])}
    return {"schema": SCHEMA_NAME, **made}


class _Comparer(Measures):
    # ------------------------------------------------------------------ what was done

    def changed(self) -> tuple[list[str], list[str]]:
        """What was done between the windows, and what cannot be told apart because of it."""
        before, after = self.sides
        done, parts, cautions = [], [], []
        for visit in self.result.site.visits:
            between = visit.start_ts < after.start_ts and visit.end_ts > before.end_ts
            own = [] if _is_logger_visit(visit.label) else visit_parts(visit.label)
            when = words.clock(
                visit.start_ts, self.result.site.timezone, with_date=True, units=self.result.units
            )
            if between:
                done.append(f"{when}: {visit.label or 'a visit, nothing noted'}")
                parts += own
            elif own and before.start_ts < visit.start_ts < after.end_ts:
                cautions.append(
                    f"Another visit lies inside a window ({when}: {visit.label}): what it changed "
                    "is part of that side."
                )
        frame = self.frame("run.setting")
        names = sorted(set(frame["name"])) if len(frame) else []
        settings = [n for n in names if len(set(map(str, self.setting_on_sides(n)))) > 1]
        for name in settings:
            was, now = (words_of(v) for v in self.setting_on_sides(name))
            done.append(f"setting {name.replace('_', ' ')}: {was} before, {now} after")
        several = list(dict.fromkeys([*parts, *(s.replace("_", " ") for s in settings)]))
        if len(several) > 1:
            named = words.joined(several[:5])
            cautions.insert(
                0,
                f"Several things changed on one visit ({named}): what did it cannot be told apart.",
            )
        if not done:
            cautions.append("No visit or change is noted between the windows: what was changed?")
        return done, cautions

    # ------------------------------------------------------------------ the whole

    def comparison(self) -> Comparison:
        """The record."""
        r = self.result
        rises, said = self.rises()
        rows = [*self.rows(), *rises]
        changed, cautions = self.changed()
        left = clock_note(r, *BESIDE_STATES)
        if left:
            cautions.insert(0, left)
        weather = tuple(self._outdoor(self.pieces, n) for n in (0, 1))
        cautions.append(
            "Setpoints, schedules and who was at home are not matched; outdoor air and calls are."
        )
        return Comparison(
            site_id=r.site.site_id,
            name=r.site.site_id if r.redacted else r.site.name,
            timezone=r.site.timezone,
            before=self.sides[0],
            after=self.sides[1],
            sentence=whole_sentence(rows),
            rows=tuple(rows),
            changed=tuple(changed),
            cautions=tuple(cautions),
            rises=tuple(said),
            weather=(weather[0], weather[1]),
            band_f=self.band_f,
            units=r.units,
            run_id=r.run_id,
            tool_version=r.tool_version,
            redacted=r.redacted,
        )


def whole_sentence(rows: Sequence[Row]) -> str:
    """The comparison in one sentence; what got worse is said first."""
    by = {v: [row.name.lower() for row in rows if row.verdict == v] for v in VERDICTS}
    parts = []
    if by[WORSE]:
        parts.append(f"worse: {words.joined(by[WORSE])}")
    if by[BETTER]:
        parts.append(f"better: {words.joined(by[BETTER])}")
    if not parts:
        judged = bool(by[NEITHER])
        parts.append(
            "no evidence either way" if judged else "not yet shown: too few like hours on a side"
        )
    tail = by[NOT_YET] + by[CANNOT]
    if tail and (by[WORSE] or by[BETTER] or by[NEITHER]):
        parts.append(f"not yet shown or not comparable: {words.joined(tail)}")
    return words.sentence("; ".join(parts))


def visit_parts(what: str) -> list[str]:
    """What was done on a visit, part by part: 'stage-up delay changed, filter changed' are two."""
    return [p.strip() for p in re.split(r"[,;]|\band\b", what) if p.strip()]


def words_of(value: float | str | None) -> str:
    """A setting's value as text."""
    return "not given" if value is None else value if isinstance(value, str) else f"{value:g}"


def _is_logger_visit(what: str) -> bool:
    return what.strip().lower() in ("loggers set", "loggers taken", "visit", "")

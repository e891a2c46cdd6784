"""review.json: one site's result for machines, held to the JSON Schema that ships beside it.

Instants are UTC as ISO 8601 with Z, lengths seconds, temperatures °F, static in. w.c., whatever
units the pages use. Every block carries `coverage` and `resolution_s` of what it rests on.
Keys are sorted and rows ordered, so that the same result gives the same bytes.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from pipeline.findings import rules
from pipeline.findings._site import number
from pipeline.result import Finding, SiteResult, Span
from pipeline.review_measures import Measured
from pipeline.review_sampling import held_to_sampling, sampling_block
from pipeline.review_unusual import unusual_block
from pipeline.review_values import Block, iso, rounded
from pipeline.sampling import standings

SCHEMA_NAME = "zonetrail.review/1"
TRIPS_BY_CODE = (
    ("high-limit-trips", "high", "panel"),
    ("low-limit-trips", "low", "panel"),
    ("equipment-cut-outs", "high", "equipment"),
)
"""The rule that looks for each kind of entry in `trips`."""


def review_text(result: SiteResult) -> str:
    """review.json as text: sorted keys, two spaces, a final newline; never NaN.

    Raises ValueError if a figure is not a finite number: a fault of ours.
    """
    document = review_document(result)
    return (
        json.dumps(document, allow_nan=False, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    )


def review_schema() -> Block:
    """The JSON Schema (draft 2020-12) that every review.json meets."""
    text = (files("pipeline") / "review.schema.json").read_text(encoding="utf-8")
    schema: Block = json.loads(text)
    return schema


def review_document(result: SiteResult) -> Block:
    """review.json as plain dictionaries and lists.

    result : with the frames of its tables; a table that is not among them gives an empty block
    """
    return _Document(result).whole()


class _Document:
    """One result; each method makes one block."""

    def __init__(self, result: SiteResult) -> None:
        self.result = result
        self.measured = Measured(result)
        self.rows = self.measured.rows
        self.quality = self.measured.quality

    def whole(self) -> Block:
        """The document."""
        result = self.result
        fineness = standings(result.frames, result.thresholds)
        return {
            "schema": SCHEMA_NAME,
            "tool": result.tool_version,
            "run": result.run_id,
            "site": result.site.site_id,
            "window": _span(result.window),
            "verdict": self.verdict(),
            "rows": self.row_counts(),
            "channels": self.channels(),
            "clocks": self.clocks(),
            "judged": self.judged(),
            "findings": [self.finding(f) for f in result.findings],
            "sampling": sampling_block(fineness),
            "trips_told": self.trips_told(),
            "unusual": unusual_block(result.unusual, self.quality("conditions")),
            **held_to_sampling(self.measured.blocks(), fineness),
        }

    def verdict(self) -> Block:
        """The head of the page."""
        v = self.result.verdict
        return {
            "call": v.call,
            "sentence": v.sentence,
            "how_sure": v.how_sure,
            "ruled_out": list(v.ruled_out),
            "cannot_tell": list(v.cannot_tell),
            **self.quality("conditions"),
        }

    def row_counts(self) -> Block:
        """Rows of all files: read = loaded + rejected + repeated."""
        found = self.rows("store.file")
        channels = self.rows("signal.coverage")
        valid_s = sum(number(r.valid_s) or 0.0 for r in channels)
        window_s = sum(number(r.window_s) or 0.0 for r in channels)
        return {
            "read": sum(int(r.n_read) for r in found),
            "loaded": sum(int(r.n_loaded) for r in found),
            "rejected": sum(int(r.n_rejected) for r in found),
            "repeated": sum(int(r.n_repeated) for r in found),
            "bad_cells": sum(int(r.n_bad_cells) for r in found),
            "conflicts": len(self.rows("store.conflict")),
            "coverage": rounded(valid_s / window_s) if window_s else None,
            "resolution_s": max((number(r.interval_s) or 0.0 for r in channels), default=None),
        }

    def channels(self) -> list[Block]:
        """The channels in use, in the order of the site file, with what is wrong and their gaps.

        trusted : none of its readings was left out for a problem
        """
        paths = self.paths()
        coverage = {r.channel_id: r for r in self.rows("signal.coverage")}
        gaps: dict[Any, list[Any]] = {}
        for gap in self.rows("trust.gap"):
            gaps.setdefault(gap.channel_id, []).append(gap)
        problems_of: dict[Any, list[Any]] = {}
        for problem in self.rows("trust.problem"):
            problems_of.setdefault(problem.channel_id, []).append(problem)
        made = []
        for c in sorted(self.rows("channel.channel"), key=lambda r: int(r.channel_id)):
            own = coverage.get(c.channel_id)
            own_problems = sorted(
                problems_of.get(c.channel_id, []), key=lambda p: (int(p.start_ts), p.code)
            )
            problems = [_problem(p) for p in own_problems]
            problems += [
                {
                    "code": "gap" if g.reason == "not logged" else g.reason.replace(" ", "-"),
                    "start": iso(g.start_ts),
                    "end": iso(g.end_ts),
                }
                for g in sorted(gaps.get(c.channel_id, []), key=lambda g: int(g.start_ts))
                if not g.is_cut
            ]
            of_logger = paths.get(c.logger, [])
            made.append(
                {
                    "role": c.role,
                    "zone": None if c.zone is None else int(c.zone),
                    "file": of_logger[0] if of_logger else None,
                    "files": of_logger,
                    "logger": c.logger,
                    "column": c.column_name,
                    "primary": bool(c.is_primary),
                    "interval_s": number(c.interval_s),
                    "resolution_s": number(c.interval_s),
                    "coverage": None if own is None else rounded(number(own.coverage)),
                    "trusted": not any(p.is_cut for p in own_problems),
                    "problems": problems,
                }
            )
        return made

    def clocks(self) -> list[Block]:
        """One entry per file, its logger's clock against the reference's."""
        coverage: dict[str, list[float]] = {}
        logger_of = {r.channel_id: r.logger for r in self.rows("channel.channel")}
        for row in self.rows("signal.coverage"):
            logger = logger_of.get(row.channel_id, "")
            coverage.setdefault(logger, []).append(number(row.coverage) or 0.0)
        made = []
        paths = self.paths()
        for c in sorted(self.rows("trust.clock_offset"), key=lambda r: str(r.logger)):
            own = coverage.get(c.logger, [])
            for path in paths.get(c.logger, []):
                made.append(
                    {
                        "file": path,
                        "logger": c.logger,
                        "reference": c.reference_logger,
                        "offset_s": number(c.offset_s),
                        "plus_minus_s": number(c.plus_minus_s),
                        "applied": (number(c.applied_s) or 0.0) != 0.0,
                        "applied_s": number(c.applied_s) or 0.0,
                        "confidence": c.confidence,
                        "why": c.why,
                        "coverage": rounded(min(own)) if own else None,
                        "resolution_s": number(c.plus_minus_s),
                    }
                )
        return made

    def judged(self) -> list[Block]:
        """The result of every rule."""
        figure_of = {rule.code: rule.declaration.figure for rule in rules()}
        return [
            {
                "code": j.code,
                "title": j.title,
                "question": j.question,
                "result": j.result,
                "why": j.why,
                **self.quality(figure_of.get(j.code) or ""),
            }
            for j in self.result.judged
        ]

    def trips_told(self) -> list[Block]:
        """Whether `trips` could be seen, by kind: an empty list alone does not say that."""
        by_code = {j["code"]: j for j in self.judged()}
        return [
            {
                "kind": kind,
                "opened_by": opened_by,
                "result": "cannot tell" if by_code[code]["result"] == "cannot tell" else "told",
                "why": by_code[code]["why"],
                "coverage": by_code[code]["coverage"],
                "resolution_s": by_code[code]["resolution_s"],
            }
            for code, kind, opened_by in TRIPS_BY_CODE
            if code in by_code
        ]

    def finding(self, f: Finding) -> Block:
        """One finding."""
        values = self.result.thresholds
        return {
            "code": f.code,
            "title": f.title,
            "severity": f.severity,
            "about": f.about,
            "certainty": f.certainty,
            "summary": f.summary,
            "goes_with": list(f.goes_with),
            "evidence": [{**_span(e), "label": e.label} for e in f.evidence],
            "windows": [
                {"n": w.n, "start": iso(w.start_ts), "end": iso(w.end_ts), "title": w.title}
                for w in f.windows
            ],
            "ruled_out": list(f.ruled_out),
            "causes": [
                {"cause": c.cause, "because": c.because, "replay": c.replay or None}
                for c in f.causes
            ],
            "checks": list(f.checks),
            "cautions": list(f.cautions),
            "source": f.source,
            "thresholds": {name: values[name] for name in f.thresholds if name in values},
            "coverage": rounded(f.coverage),
            "resolution_s": f.resolution_s,
        }

    def paths(self) -> dict[str, list[str]]:
        """Files of each logger, by first instant."""
        made: dict[str, list[str]] = {}
        for row in sorted(self.rows("store.file"), key=lambda r: int(r.file_id)):
            made.setdefault(row.logger, []).append(row.path)
        return made


def _problem(row: Any) -> Block:
    """One row of trust.problem."""
    return {
        "code": row.code,
        "start": iso(row.start_ts),
        "end": iso(row.end_ts),
        "left_out": bool(row.is_cut),
        "figure": rounded(number(row.figure)),
        "correction": row.correction,
    }


def _span(span: Span) -> Block:
    return {"start": iso(span.start_ts), "end": iso(span.end_ts)}

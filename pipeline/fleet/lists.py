"""What a run hands on beside its pages: the dispatcher's list as CSV, and the record as JSON."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from pipeline.export_files import inert
from pipeline.fleet_result import FleetResult, FleetSite

COLUMNS = (
    *("place", "standing", "why_on_top", "site_id", "name", "region", "agreement", "installer"),
    *("installed", "kind", "call_first", "how", "next_visit", "expected_harm", "harm_low"),
    *("harm_high", "findings", "came_back", "reasons", "parts", "last_logged", "folder"),
)
SCHEMA = "zonetrail.fleet/1"


def list_csv(result: FleetResult) -> str:
    """The sites in the order of the page, one row each; a cell that is a formula is made inert."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for site in result.sites:
        writer.writerow([_cell(value) for value in _row(site)])
    return "\ufeff" + out.getvalue()


def fleet_json(result: FleetResult) -> str:
    """The whole record, days and trends included; dates as ISO 8601, instants as microseconds."""
    return json.dumps({"schema": SCHEMA} | _plain(result), ensure_ascii=False, indent=1)


def _row(s: FleetSite) -> tuple[Any, ...]:
    there = [f for f in s.findings if f.status != "gone" and f.severity != "note"]
    points = s.harm.points if s.harm else None
    return (
        *(s.rank, s.group, s.top, s.site_id, s.name, s.region, s.agreement, s.installer),
        *(s.installed, s.kind, "yes" if s.call_first else "", s.way),
        s.next_visit or s.next_visit_text,
        *(_rounded(getattr(points, n, None)) for n in ("expected", "low", "high")),
        "; ".join(f"{f.title} ({f.severity})" for f in there),
        "; ".join(f.title for f in there if f.status == "came back"),
        " ".join(s.reasons),
        "; ".join(s.parts),
        s.last_day,
        s.folder,
    )


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, float | int):
        return value
    return inert(str(value).replace("\n", " "))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _plain(value: Any) -> Any:
    """Records as objects, dates as text; numbers as they are."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return value.isoformat() if isinstance(value, date) else value

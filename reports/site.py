"""The reviewer's page of one site: an ordered list of blocks around one result."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.result import SiteResult
from reports.block import Block, Model
from reports.blocks import (
    cycles,
    days,
    finding,
    first,
    header,
    methods,
    rules,
    runtime,
    settings,
    staging,
    static,
    timeline,
    trips,
    trust,
    verdict,
    zones,
)
from reports.markup import fill
from reports.page import page_html

BLOCKS: tuple[Callable[[Model], Block], ...] = (
    verdict.render,
    first.render,
    days.render,
    verdict.render_found,
    finding.render,
    timeline.render,
    runtime.render,
    cycles.render,
    static.render,
    trips.render,
    zones.render,
    staging.render,
    rules.render,
    trust.render,
    settings.render,
    methods.render,
)
"""The page in reading order; a new block is a file in blocks/ and a line here."""

_FOOT = (
    "<p>Made by zonetrail {{ version }} from logger exports, run {{ run }}. A clean log is not a "
    "safety check: nothing here measures carbon monoxide, gas leaks, venting or wiring. Work on "
    "gas, refrigerant, limits and wiring belongs to licensed practice, local codes and the "
    "equipment’s own instructions. {{ redacted }}</p>"
)


def render_site(result: SiteResult) -> str:
    """The page as one self-contained HTML text; the same bytes for the same result."""
    model = Model(result)
    name = result.site.site_id if result.redacted else (result.site.name or result.site.site_id)
    foot = fill(
        _FOOT,
        version=result.tool_version,
        run=result.run_id,
        redacted="Name, address and notes are left out of this copy." if result.redacted else "",
    )
    return page_html(
        title=f"{name}: zone system review",
        head=header.render(model).html,
        blocks=[render(model) for render in BLOCKS],
        foot=foot,
        hours=model.clock.hours,
    )

"""The page of a fleet: an ordered list of blocks around one record."""

from __future__ import annotations

from collections.abc import Callable

from markupsafe import Markup

from pipeline.fleet_result import FleetResult
from reports.block import Block
from reports.blocks import (
    fleet_changes,
    fleet_first,
    fleet_list,
    fleet_methods,
    fleet_pick,
    fleet_rest,
    fleet_trends,
)
from reports.fleet_model import FleetModel
from reports.markup import clean, fill
from reports.page import page_html

BLOCKS: tuple[Callable[[FleetModel], Block], ...] = (
    fleet_first.render,
    fleet_pick.render,
    fleet_list.render_top,
    fleet_list.render_ranked,
    fleet_rest.render_open,
    fleet_rest.render_broken,
    fleet_changes.render_shared,
    fleet_changes.render_changes,
    fleet_changes.render_unusual,
    fleet_trends.render_parts,
    fleet_trends.render_trends,
    fleet_rest.render_clear,
    fleet_methods.render,
)
"""The page in reading order: what the owner decides first stands first."""

FOOT = (
    "<p>Made by zonetrail {{ version }}, run {{ run }}. A clean log is not a safety check: nothing "
    "here measures carbon monoxide, gas leaks, venting or wiring. Work on gas, refrigerant, limits "
    "and wiring belongs to licensed practice, local codes and the equipment’s own instructions. "
    "{{ redacted }}</p>"
)


def render_fleet(result: FleetResult) -> str:
    """The page as one self-contained HTML text; the same bytes for the same record."""
    model = FleetModel(result)
    return page_html(
        title=f"{clean(result.name, 80)}: sites to visit",
        head=fleet_first.head(model),
        blocks=[render(model) for render in BLOCKS],
        foot=foot(model),
        skip="Skip to the list",
        styles="fleet_site.css fleet.css",
        own_script="fleet.js",
        record=fleet_pick.record(model),
    )


def foot(model: FleetModel) -> Markup:
    """Who made the page, and the cautions that belong to every list."""
    return fill(
        FOOT,
        version=model.result.run.tool_version,
        run=model.result.run.run_id,
        redacted="Names and addresses are left out of this copy." if model.result.redacted else "",
    )

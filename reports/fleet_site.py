"""The light page of one site of a fleet: no script, still drawings, small enough to mail."""

from __future__ import annotations

from pipeline.fleet_result import FleetResult, FleetSite
from reports.blocks import fleet_site
from reports.fleet import foot
from reports.fleet_model import FleetModel
from reports.markup import clean
from reports.page import page_html

MOST_BYTES = 60_000
LEVELS = ((8, 800), (5, 800), (5, 400), (3, 400), (2, 300), (1, 300), (0, 0))
"""Findings told in full and letters of each text, fewer until the page keeps to its bytes.

The other findings are listed; a caution is never cut.
"""


def render_site(result: FleetResult | FleetModel, site_id: str) -> str:
    """The site's page as one HTML text. Raises KeyError for a site that is not in the record.

    result : the record; or a FleetModel of it, which a caller with many pages to make keeps
    """
    model = result if isinstance(result, FleetModel) else FleetModel(result)
    site = model.by_id[site_id]
    page = ""
    for n_full, n_letters in LEVELS:
        page = _page(model, site, n_full, n_letters)
        if len(page.encode()) <= MOST_BYTES:
            break
    return page


def _page(model: FleetModel, site: FleetSite, n_full: int, n_letters: int) -> str:
    return page_html(
        title=f"{clean(model.name(site), 80)}: light report",
        head=fleet_site.head(model, site),
        blocks=[
            fleet_site.render_first(model, site),
            fleet_site.render_findings(model, site, n_full, n_letters),
            fleet_site.render_days(model, site),
            fleet_site.render_weeks(model, site),
            fleet_site.render_peers(model, site),
            fleet_site.render_visits(model, site),
        ],
        foot=foot(model),
        styles="fleet_site.css",
    )

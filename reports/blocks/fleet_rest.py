"""Sites that are not on the list of visits: not cleared, could not be read, nothing found."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.fleet_result import FleetSite
from reports.block import Block
from reports.blocks.fleet_list import list_block, site_head
from reports.display import NONE
from reports.fleet_model import FleetModel, told
from reports.markup import clean

_OPEN_NOTE = (
    "Nothing was found, and the log could not have shown it. These are not clear: log on, or look "
    "at the next visit."
)
_BROKEN_NOTE = (
    "Left out of everything on this page until it is mended; all other sites stand as they are."
)
_CLEAR_NOTE = (
    "These conditions were not seen in these hours. That is no safety check: nothing here measures "
    "carbon monoxide, gas leaks, venting or wiring."
)
_PLAIN = (("name", "Site"), ("", "Why"), ("", "Logged"), ("visit", "Visit"))
MOST_MESSAGE = 400


def render_open(model: FleetModel) -> Block:
    """Not cleared, and why."""
    sites = model.group("not cleared")
    return list_block(
        model, "open", f"Not cleared ({len(sites):,})", "Not cleared", sites, _PLAIN, _OPEN_NOTE,
        "op", [_row(model, s, told(clean(" ".join(s.reasons), MOST_MESSAGE))) for s in sites],
    )  # fmt: skip


def render_broken(model: FleetModel) -> Block:
    """Sites that could not be read: file, line, reason, as the error says it."""
    sites = model.group("broken")
    columns = (("name", "Site"), ("", "What is wrong"), ("", "Folder"))
    rows = [
        Markup("<tr data-s={}>{}<td class=y>{}<td class=l>{}").format(
            model.index[s.site_id],
            site_head(model, s),
            message(s.broken),
            told(clean(s.folder, 80)),
        )
        for s in sites
    ]
    return list_block(
        model, "broken", f"Could not be read ({len(sites):,})", "Could not be read", sites,
        columns, _BROKEN_NOTE, "br", rows,
    )  # fmt: skip


def message(said: str) -> Markup:
    """An error as it was written: file and line first, what was found and expected below."""
    return Markup("<br>").join(
        told(line.strip()) for line in clean(said, MOST_MESSAGE).splitlines()
    )


def render_clear(model: FleetModel) -> Block:
    """Sites with nothing found in hours that could have shown it."""
    sites = model.group("nothing found")
    columns = (("name", "Site"), ("", "Seen running"), ("", "Logged"), ("visit", "Visit"))
    return list_block(
        model, "clear", f"Nothing found ({len(sites):,})", "Nothing found", sites, columns,
        _CLEAR_NOTE, "op", [_row(model, s, _seen(s)) for s in sites],
    )  # fmt: skip


def _row(model: FleetModel, site: FleetSite, said: Markup) -> Markup:
    visit = model.visit(site)
    return Markup(
        "<tr data-s={n}>{head}<td class=y>{said}<td class=l>{logged}<td class=v>{visit}"
    ).format(
        n=model.index[site.site_id],
        head=site_head(model, site),
        said=said,
        logged=logged(model, site),
        visit=told(clean(visit, 60)) if visit else "",
    )


def logged(model: FleetModel, site: FleetSite) -> Markup:
    """'92 % of 61 days, to Tue Sep 29': how much data is behind a site."""
    if not site.n_days or site.last_day is None:
        return Markup(NONE)
    days = model.show.count(site.n_days)
    share = "" if site.coverage is None else f"{model.show.share(site.coverage)} of "
    return told(f"{share}{days} days, to {model.day(site.last_day)}")


def _seen(site: FleetSite) -> Markup:
    parts = [
        f"{value:,.0f} h of {what}"
        for what, value in (("heat", site.heat_h), ("cooling", site.cool_h))
        if value is not None and value >= 0.5
    ]
    return told(", ".join(parts) or "no running seen")

"""Settings as found and visits, as the site file gives them."""

from __future__ import annotations

from markupsafe import Markup

from reports.block import Block, Model, absent
from reports.markup import fill
from reports.table import Column, Table, table_html


def render(model: Model) -> Block:
    """What was set, since when, and when somebody was there; notes are left out when redacted."""
    parts = [_settings(model), _visits(model)]
    return Block(
        "settings", "Settings as found, and visits", Markup("").join(parts), nav="Settings"
    )


def _settings(model: Model) -> Markup:
    settings = model.result.site.settings
    if not settings:
        return absent("No setting was given", "so none is audited")
    return table_html(
        Table(
            "Settings as found on site",
            (Column("Setting"), Column("Value"), Column("In force")),
            tuple(
                (_words(key), value, f"since {since}" if since else "throughout")
                for key, value, since in settings
            ),
            note="A setting that is not listed was not given, and nothing was judged by it.",
        )
    )


def _words(key: str) -> str:
    words = key.rsplit("_", 1)[0] if key.rsplit("_", 1)[-1] in _UNIT_ENDINGS else key
    return words.replace("_", " ").capitalize()


_UNIT_ENDINGS = {"inwc", "f", "min", "s"}


def _visits(model: Model) -> Markup:
    visits = model.result.site.visits
    if not visits:
        return fill("<p>No visit is known in this window.</p>")
    body = tuple(
        (
            model.clock.span(v.start_ts, v.end_ts),
            "left out of this copy" if model.result.redacted else v.label or "not said",
        )
        for v in visits
    )
    return table_html(
        Table(
            "Visits: shown and counted in runtime, left out of findings",
            (Column("Local time"), Column("What was done", "wide")),
            body,
        )
    )

"""Settings as found and visits, as the site file gives them."""

from __future__ import annotations

from markupsafe import Markup

from reports.block import Block, Model, absent
from reports.markup import fill
from reports.table import Column, Table, table_html

SETTING_WORDS = {
    "static_target_inwc": "Static target",
    "high_limit_f": "High limit",
    "low_limit_f": "Low limit",
    "low_balance_f": "Low balance point",
    "high_balance_f": "High balance point",
    "stage_up_delay_min": "Stage-up delay",
    "stage_up_by": "Second stage comes by",
    "stage_up_clock": "Stage-up delay counts from",
    "stage2_min_zones": "Zones needed for second stage",
    "stage2_release": "Second stage is released",
    "compressor_min_off_min": "Compressor minimum off",
    "changeover_wait_min": "Wait between heat and cool",
    "damper_travel_s": "Damper travel",
    "relief_wait_s": "Wait before relief",
    "purge_s": "Purge",
}
"""A setting's key in the site file -> what a technician calls it."""

VALUE_WORDS = {"follows": "follows the calls", "timer": "a timer", "thermostat": "the thermostat"}

JUDGED_BY = {
    "static_target_inwc": ("static-above-target",),
    "high_limit_f": ("high-limit-trips",),
    "low_limit_f": ("low-limit-trips",),
    "low_balance_f": ("balance-point-mismatch",),
    "high_balance_f": ("balance-point-mismatch", "aux-too-readily"),
    "stage_up_delay_min": ("second-stage-early",),
    "stage_up_by": ("second-stage-early",),
    "stage_up_clock": ("second-stage-early",),
    "stage2_min_zones": ("second-stage-too-few-zones",),
    "stage2_release": ("second-stage-stayed-in",),
    "compressor_min_off_min": ("short-cycling",),
    "changeover_wait_min": ("call-without-output",),
    "damper_travel_s": ("static-above-target",),
    "relief_wait_s": ("static-above-target", "relief-missing"),
}
"""A setting -> the rules that read it."""

READ_FOR = {"purge_s": "no rule; it tells purge from a fan that runs on"}
"""A setting that no rule judges -> what it is read for."""


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
            (
                Column("Setting"),
                Column("Value"),
                Column("In force"),
                Column("Judged by", "wide"),
            ),
            tuple(
                (
                    _words(key),
                    VALUE_WORDS.get(value, value),
                    f"since {since}" if since else "throughout",
                    _judged(model, key),
                )
                for key, value, since in settings
            ),
            note="A setting that is not listed was not given, and nothing was judged by it.",
        )
    )


def _judged(model: Model, key: str) -> str:
    """Which rules judged by the setting; where none could, those that would have."""
    asked = [rule for code in JUDGED_BY.get(key, ()) if (rule := model.judged(code))]
    able = [rule.title for rule in asked if rule.result != "cannot tell"]
    unable = [f"{rule.title}, but could not tell here" for rule in asked]
    return "; ".join(able or unable) or READ_FOR.get(key, "not judged in this version")


def _words(key: str) -> str:
    return SETTING_WORDS.get(key, key.replace("_", " ").capitalize())


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

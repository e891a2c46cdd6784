"""Colours, dashes and shapes: one table, from which CSS, SVG and Plotly take theirs.

Every hue has a light and a dark value. Contrast is tested in Python (tests/test_reports.py):
text at least 4.5:1, drawn lines at least 3:1 against the paper they lie on. Nothing is said by
colour alone: severities have a shape and a word, lines a dash and a name, stages a height.
"""

from __future__ import annotations

LIGHT = {
    "paper": "#FBFAF6",
    "card": "#FFFFFF",
    "ink": "#17252B",
    "muted": "#525F66",
    "rule": "#CFCABD",
    "faint": "#E7E3D8",
    "link": "#0A5666",
    "on": "#1F4E5F",
    "onsoft": "#5A8A99",
    "cool": "#2C6FB0",
    "limit": "#B23A00",
    "unknown": "#6F6A5C",
    "band": "#F3E3D3",
    "visit": "#E4E4EC",
    "supply": "#C24A00",
    "return": "#0F6CA8",
    "outdoor": "#6A6F73",
    "other": "#3B6E22",
    "static": "#7A3E8E",
    "zone1": "#00795C",
    "zone2": "#B0487F",
    "zone3": "#8F6A00",
    "zone4": "#2B8FCB",
    "act": "#9E3300",
    "plan": "#7A2F63",
    "watch": "#745300",
    "note": "#3F5A66",
    "clear": "#00634C",
    "cannot": "#525F67",
}

DARK = {
    "paper": "#12191C",
    "card": "#1A2327",
    "ink": "#E8ECEA",
    "muted": "#A7B2B6",
    "rule": "#3A464B",
    "faint": "#263035",
    "link": "#7CC7D6",
    "on": "#7FB6C6",
    "onsoft": "#557C89",
    "cool": "#8FB8F0",
    "limit": "#FF9A6B",
    "unknown": "#A79F8B",
    "band": "#3A2A20",
    "visit": "#2A2C3C",
    "supply": "#FF9457",
    "return": "#6BB8F0",
    "outdoor": "#A9B0B5",
    "other": "#9CCB7F",
    "static": "#C79BDA",
    "zone1": "#4CC9A4",
    "zone2": "#F09AC5",
    "zone3": "#E0B53C",
    "zone4": "#9AD3F5",
    "act": "#FF9A6B",
    "plan": "#E3A6D3",
    "watch": "#E9C46A",
    "note": "#A9C3CC",
    "clear": "#5CCFAE",
    "cannot": "#A7B2B7",
}

TEXT_HUES = ("ink", "muted", "link", "act", "plan", "watch", "note", "clear", "cannot")
"""Hues that letters are set in."""

LINE_HUES = (
    "on", "onsoft", "cool", "limit", "unknown", "supply", "return", "outdoor", "other", "static",
    "zone1", "zone2", "zone3", "zone4",
)  # fmt: skip
"""Hues that lines and bars are drawn in."""

DASHES = ("solid", "dash", "dot", "dashdot")
SVG_DASH = {"solid": "", "dash": "6 3", "dot": "1.5 2.5", "dashdot": "7 3 1.5 3"}

CALL_WORDS = {
    "act": "Act",
    "plan": "Plan",
    "watch": "Watch",
    "note": "Note",
    "clear": "Clear",
    "cannot judge": "Cannot judge",
}
CALL_MEANS = {
    "act": "go soon: equipment or people may be harmed",
    "plan": "put it on the next visit",
    "watch": "keep an eye on it",
    "note": "good to know",
    "clear": "these conditions were not seen in these hours; not a safety check",
    "cannot judge": "the log does not carry enough to say",
}
_CALL_SHAPES = {
    "act": '<path d="M6 .8 11.6 11H.4z"/>',
    "plan": '<path d="M1 1h10v10H1z"/>',
    "watch": '<path d="M6 0 12 6 6 12 0 6z"/>',
    "note": '<path d="M0 4.2h12v3.6H0z"/>',
    "clear": '<circle cx="6" cy="6" r="5.4"/>',
    "cannot judge": '<circle cx="6" cy="6" r="4.6" fill="none" stroke-width="2.2"/>',
}
RESULT_SHAPES = {
    "found": '<path d="M6 0 12 6 6 12 0 6z"/>',
    "not found": '<path d="M1 5.1h10v1.8H1z"/>',
    "cannot tell": '<circle cx="6" cy="6" r="4.6" fill="none" stroke-width="2.2"/>',
}


def call_hue(call: str) -> str:
    """The hue of a page's call or a finding's severity."""
    return "cannot" if call == "cannot judge" else call


def call_shape(call: str) -> str:
    """A 12 px SVG of the call's own shape, in the text's colour; says nothing to a reader aloud."""
    return _icon(_CALL_SHAPES[call])


def result_shape(result: str) -> str:
    """A 12 px SVG for found, not found, cannot tell."""
    return _icon(RESULT_SHAPES.get(result, RESULT_SHAPES["cannot tell"]))


def _icon(inner: str) -> str:
    return (
        '<svg class="shape" width="12" height="12" viewBox="0 0 12 12" aria-hidden="true" '
        f'fill="currentColor" stroke="currentColor" stroke-width="0">{inner}</svg>'
    )


def css_variables() -> str:
    """The palette as CSS: light, dark where the reader's screen asks for it, light in print.

    Also one class per hue for SVG strokes (s-) and fills (f-), so that drawings carry light
    colours as attributes (for renderers that ignore page CSS in SVG) and follow the theme
    where CSS reaches them.
    """
    light = "".join(f"--{k}:{v};" for k, v in LIGHT.items())
    dark = "".join(f"--{k}:{v};" for k, v in DARK.items())
    calls = "".join(
        f".c-{k}{{color:var(--{k})}}.rule-{k}{{border-left-color:var(--{k})!important}}"
        for k in ("act", "plan", "watch", "note", "clear", "cannot")
    )
    classes = "".join(f".s-{k}{{stroke:var(--{k})}}.f-{k}{{fill:var(--{k})}}" for k in LIGHT)
    return (
        f":root{{color-scheme:light dark;{light}}}"
        f"@media print{{:root{{--paper:#FFFFFF}}}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
        f"{classes}{calls}"
    )


def zone_style(order: int) -> tuple[str, str]:
    """(hue, dash) of the zone drawn in this place, from 0; past four the dash moves on.

    Four hues by four dashes: the first sixteen zones differ, and each is named beside its line.
    """
    turn = order // 4
    return f"zone{order % 4 + 1}", DASHES[(order + turn) % 4]


ROLE_STYLE = {
    "supply_temp": ("supply", "solid"),
    "return_temp": ("return", "dash"),
    "outdoor_temp": ("outdoor", "dot"),
    "mixed_temp": ("other", "dashdot"),
    "static_pressure": ("static", "solid"),
    "return_static": ("return", "dash"),
    "return_rh": ("other", "solid"),
}

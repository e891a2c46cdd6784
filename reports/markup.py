"""HTML made safe: one template environment, and one rule for text written by others.

Names of sites, zones, columns and files come from exports and site files. They are data: every
string is escaped, control and direction-changing characters are shown as their escapes, and
what goes into a drawing is cut to a length that fits.
"""

from __future__ import annotations

import json
import re
import unicodedata
from functools import lru_cache
from typing import Any

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup, escape

MAX_DRAWN = 40
MAX_TEXT = 2000
_HARMLESS = {"\n", "\t"}


def clean(value: str, limit: int = MAX_TEXT) -> str:
    """The text with control, format and bidirectional characters shown as escapes, and cut."""
    if value.isprintable():  # most are, and there are tens of thousands on a page
        return value if len(value) <= limit else value[: limit - 1] + "…"
    shown = "".join(
        c if c in _HARMLESS or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")
        else f"\\u{ord(c):04x}"
        for c in value
    )  # fmt: skip
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:am|pm|h|min|s|%|°F|°C|Pa|ft)\b|[%°])|(?<=\d) in\. w\.c\.|"
    r"(?<=\b(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)) (?=\d)|(?<=±) (?=\d)"
)


def kept_together(value: str) -> str:
    """The text with times, dates and numbers with their units held on one line."""
    return _TOGETHER.sub(lambda found: found.group(0).replace(" ", "\u00a0"), value)


def drawn(value: str, limit: int = MAX_DRAWN) -> str:
    """Plain text for a drawing: cleaned, one line, cut; not yet escaped."""
    return clean(re.sub(r"\s+", " ", value), limit)


def shortened(value: str, limit: int) -> str:
    """The text cut in its middle, so that 'Bedroom … damper' keeps what tells rows apart."""
    shown = drawn(value, MAX_TEXT)
    if len(shown) <= limit:
        return shown
    last = shown.rsplit(" ", 1)[-1] if " " in shown else ""
    last = last if len(last) <= limit // 2 else shown[-(limit // 3) :]
    return f"{shown[: limit - len(last) - 2].rstrip()}… {last}" if last else drawn(shown, limit)


def plotly_text(value: str, limit: int = MAX_DRAWN) -> str:
    """Text that Plotly draws literally: its labels are read as a small HTML."""
    return str(escape(drawn(value, limit)))


def _finalize(value: Any) -> Any:
    if isinstance(value, Markup) or not isinstance(value, str):
        return value
    return kept_together(clean(value))


_ENVIRONMENT = Environment(
    autoescape=True,
    undefined=StrictUndefined,
    finalize=_finalize,
    trim_blocks=True,
    lstrip_blocks=True,
)


@lru_cache(maxsize=256)
def _template(source: str) -> Template:
    return _ENVIRONMENT.from_string(source)


def fill(source: str, **values: Any) -> Markup:
    """The template with its values, every string escaped; a missing one raises UndefinedError."""
    return Markup(_template(source).render(**values))


def script_json(value: Any) -> str:
    """JSON that cannot leave a script element. Raises ValueError for NaN or infinity."""
    out = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for c in "<>&\u2028\u2029":
        out = out.replace(c, f"\\u{ord(c):04x}")
    return out


def slug(value: str) -> str:
    """Letters, digits and hyphens only: for element ids."""
    return re.sub(r"[^a-z0-9]+", "-", value.lower()).strip("-") or "x"

"""The shell of a page: one file, its policy, its styles, its scripts packed; blocks in order.

Nothing on the page loads anything: the policy forbids it, and the plotting library and every
figure's numbers travel inside, as gzip in text that is no script until the page's own small
script opens it. The policy lists the hashes of that script and of the library, so a changed
byte of either does not run.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from importlib.resources import files

from markupsafe import Markup

from reports.block import Block
from reports.markup import fill, script_json
from reports.plotly_figure import CONFIG, time_plotly
from reports.svg import DEFS
from reports.table import LEFT_CLASS, label_rules
from reports.theme import DARK, LIGHT, css_variables
from reports.wire import packed, wire_page

LIBRARY = "plotly-basic.min.js"
"""Lines and filled outlines are all that is drawn, so the smallest bundle does: 134 kB less."""

_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{{ policy }}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{{ title }}</title>
<style>{{ css }}</style>
</head>
<body>
<a class="skip" href="#main">{{ skip }}</a>
{{ defs }}
<header id="top">{{ head }}</header>
<main id="main">
{% for b in blocks %}
{% if b.html or b.key == 'first' %}
<section id="{{ b.key }}"{% if b.title or b.html %} aria-labelledby="h-{{ b.key }}"{% endif %}>
{% if b.title %}<h2 id="h-{{ b.key }}">{{ b.title }}</h2>{% endif %}
{{ b.html }}
{% if b.key == 'first' %}
<nav class="contents" aria-label="On this page"><ul>
{% for c in contents %}<li><a href="#{{ c.key }}">{{ c.nav }}</a></li>{% endfor %}
</ul></nav>
{% endif %}
</section>
{% endif %}
{% endfor %}
</main>
<footer>{{ foot }}</footer>
{% if has_live %}
<script type="application/json" id="hues">{{ hues }}</script>
<script type="text/plain" id="figures">{{ figures }}</script>
<script type="text/plain" id="lib">{{ library }}</script>
{% endif %}
{% if record %}
<script type="application/json" id="record">{{ record }}</script>
{% endif %}
{% if script %}<script>{{ script }}</script>{% endif %}
</body>
</html>
"""


def page_html(
    title: str,
    head: Markup,
    blocks: Sequence[Block],
    foot: Markup,
    hours: int = 12,
    *,
    skip: str = "Skip to the verdict",
    styles: str = "",
    own_script: str = "",
    record: object = None,
) -> str:
    """The page as text, the same bytes for the same input. Scripts only where a figure needs them.

    skip : the words of the link past the head
    styles : files of assets/ beside page.css, parted by spaces
    own_script : a file of assets/ that stands in for the figures' script; record : what it reads

    Raises ValueError where two figures share a key or two blocks one id, and where rows travel
    packed on a page whose own script does not open them.
    """
    live = [figure for block in blocks for figure in block.live]
    _distinct([f.key for block in blocks for f in block.figures], "figure")
    _distinct([block.key for block in blocks], "block")
    figures, shared = wire_page({f.key: time_plotly(f) for f in live})
    payload = figures | {"config": CONFIG, "shared": shared}
    script = ""
    # rows that travel packed need the script as much as a figure does
    has_left = any(f'class="{LEFT_CLASS}"' in block.html for block in blocks)
    if has_left and own_script:
        raise ValueError(f"{own_script} does not open rows that travel packed")
    has_live = bool(live) or has_left
    if own_script or has_live:
        script = _asset("take.js") + _asset(own_script or "page.js")
    css = css_variables() + _asset("page.css") + "".join(_asset(name) for name in styles.split())
    css += label_rules("".join(str(block.html) for block in blocks))
    hues = {"dark": {LIGHT[k]: DARK[k] for k in LIGHT}, "hours": hours}
    figures_text, library_text = _side_by_side(script_json(payload)) if has_live else ("", "")
    page = fill(
        _PAGE,
        title=title,
        skip=skip,
        policy=policy(((script,) if script else ()) + ((_asset(LIBRARY),) if has_live else ())),
        css=Markup(css),
        defs=DEFS,
        head=head,
        blocks=blocks,
        contents=[b for b in blocks if b.nav and b.html and b.key != "verdict"],
        foot=foot,
        has_live=has_live,
        hues=Markup(script_json(hues)),
        figures=Markup(figures_text),
        library=Markup(library_text),
        script=Markup(script),
        record=Markup(script_json(record)) if record is not None else "",
    )
    return str(page)


def policy(scripts: Sequence[str]) -> str:
    """The Content-Security-Policy: nothing loads, only these scripts run."""
    allowed = " ".join(script_hash(s) for s in scripts) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def script_hash(source: str) -> str:
    """The source's hash as a policy writes it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(source.encode()).digest()).decode()}'"


@lru_cache(maxsize=8)
def _asset(name: str) -> str:
    return files("reports").joinpath("assets", name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _packed_library() -> str:
    return packed(_asset(LIBRARY))


def _side_by_side(numbers: str) -> tuple[str, str]:
    """The figures' numbers and the plotting library, packed on two cores where there are two."""
    with ThreadPoolExecutor(1) as beside:
        library = beside.submit(_packed_library)
        return packed(numbers), library.result()


def _distinct(keys: list[str], what: str) -> None:
    twice = sorted({k for k in keys if keys.count(k) > 1})
    if twice:
        raise ValueError(f"two {what}s of one page share a key: {', '.join(twice)}")

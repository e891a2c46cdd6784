"""The page of a comparison: one sentence, one row per measure, what was matched, what was not."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from markupsafe import Markup

from pipeline import units, words
from pipeline.compare import Comparison
from pipeline.compare_measures import BETTER, CANNOT, NEITHER, NOT_YET, WORSE, Row
from reports.block import Block
from reports.display import NONE
from reports.markup import clean, fill
from reports.page import page_html
from reports.table import Column, label_class

SHAPES = {WORSE: "▲", BETTER: "▼", NEITHER: "=", NOT_YET: "○", CANNOT: "–"}
"""Beside the word, never instead of it."""
HUES = {WORSE: "act", BETTER: "clear", NEITHER: "note", NOT_YET: "cannot", CANNOT: "cannot"}
_WIDTH = 200
CAPTION = "Measures before and after, in like hours"
COLUMNS = tuple(
    Column(title)
    for title in (
        "Measure", "Before", "After", "Drawn", "Difference could be", "Like hours", "Verdict",
    )
)  # fmt: skip
"""A row's cells in their order; on a phone each cell says its own title."""

_HTML = """
<div class="verdict rule-{{ hue }}"><h2 id="h-verdict">{{ sentence }}</h2>
<dl class="facts">
<div><dt>Before</dt><dd>{{ before }}; {{ weather[0] }} outdoors</dd></div>
<div><dt>After</dt><dd>{{ after }}; {{ weather[1] }} outdoors</dd></div>
<div><dt>Changed</dt><dd>{{ changed }}</dd></div>
<div><dt>Matched</dt><dd>{{ matched }}</dd></div>
</dl></div>
<p class="cap">{{ caption }}</p>
<div class="scroll" tabindex="0" role="group" aria-label="{{ caption }}">
<table class="{{ kind }} cmp" aria-label="{{ caption }}"><thead><tr>
{%- for c in columns %}<th scope="col">{{ c.title }}</th>{% endfor %}</tr></thead>
<tbody>{% for r in rows %}
<tr><th scope="row">{{ r.name }} <span class="small">{{ r.unit }}</span></th>
<td>{{ r.before }}</td><td>{{ r.after }}</td>
<td class="drawn">{{ r.drawn }}</td><td>{{ r.between }}</td><td>{{ r.hours }}</td>
<td><b class="c-{{ r.hue }}"><span aria-hidden="true">{{ r.shape }}</span>
{{ r.verdict }}</b><br><span class="small">{{ r.why }}</span></td></tr>{% endfor %}
</tbody></table></div>
<p class="small">Drawn: open ring before, filled dot after, from 0 to the larger of the two.</p>
<div class="two"><div><h3>Rise against the plate</h3>
<ul>{% for s in rises %}<li>{{ s }}</li>{% endfor %}</ul></div>
<div class="caution"><h3>What this cannot tell</h3>
<ul>{% for s in cautions %}<li>{{ s }}</li>{% endfor %}</ul></div></div>
"""
_HEAD = """<div class="sitehead"><div><h1>Before and after: {{ name }}</h1>
<p>{{ zone }}</p></div></div>"""
_FOOT = (
    "<p>Made by zonetrail {{ version }}, run {{ run }}. Days are drawn again 4,000 times; “could "
    "be” holds 19 of 20. Of twenty rows without any change about one is called better or worse by "
    "chance. Fewer findings are no safety check: nothing here measures carbon monoxide, gas leaks, "
    "venting or wiring.</p>"
)


@dataclass(frozen=True)
class _Shown:
    """One row as text."""

    name: str
    unit: str
    before: str
    after: str
    between: str
    hours: str
    verdict: str
    why: str
    hue: str
    shape: str
    drawn: Markup


def render_comparison(comparison: Comparison) -> str:
    """The page as one HTML file: no script, nothing that loads."""
    c = comparison
    verdicts = [row.verdict for row in c.rows]
    worst = next((v for v in (WORSE, BETTER, NEITHER) if v in verdicts), NOT_YET)
    html = fill(
        _HTML,
        hue=HUES[worst],
        sentence=c.sentence,
        before=_span(c, c.before.start_ts, c.before.end_ts),
        after=_span(c, c.after.start_ts, c.after.end_ts),
        weather=c.weather,
        changed="; ".join(clean(s, 160) for s in c.changed) or "nothing is noted",
        matched=_matched(c),
        caption=CAPTION,
        kind=label_class(COLUMNS),
        columns=COLUMNS,
        rows=[_shown(row, c.units) for row in c.rows],
        rises=c.rises,
        cautions=[clean(s, 400) for s in c.cautions],
    )
    return page_html(
        f"Before and after: {clean(c.name, 80)}",
        fill(_HEAD, name=clean(c.name, 80), zone=c.timezone),
        [Block("first", "", html)],
        fill(_FOOT, version=c.tool_version, run=c.run_id),
        styles="compare.css",
    )


def comparison_text(comparison: Comparison, width: int = 100) -> str:
    """What the terminal shows: the sentence, a line per measure, what it cannot tell."""
    c = comparison
    lines = [textwrap.fill(c.sentence, width), ""]
    lines.append(f"Before: {_span(c, c.before.start_ts, c.before.end_ts)}; {c.weather[0]} outdoors")
    lines.append(f"After:  {_span(c, c.after.start_ts, c.after.end_ts)}; {c.weather[1]} outdoors")
    lines.append("")
    for row in c.rows:
        s = _shown(row, c.units)
        figures = f"{s.before} to {s.after} {s.unit}" if row.before is not None else ""
        tail = "; ".join(part for part in (figures, s.why) if part)
        text = f"  {s.verdict.upper() if row.verdict == WORSE else s.verdict}: {s.name}: {tail}"
        lines.append(textwrap.fill(text, width, subsequent_indent="      "))
    lines += ["", *(textwrap.fill(f"  - {s}", width, subsequent_indent="    ") for s in c.rises)]
    lines += [textwrap.fill(f"  - {s}", width, subsequent_indent="    ") for s in c.cautions]
    return "\n".join(clean(line) for line in lines)


def _matched(c: Comparison) -> str:
    band = words.temperature_difference(c.band_f, c.units)
    return (
        f"hours with outdoor air in the same band of {band} and the same zones calling, each band "
        "weighed alike on both sides; visits left out"
    )


def _span(c: Comparison, start_ts: int, end_ts: int) -> str:
    return words.clock_span(start_ts, end_ts, c.timezone, with_date=True, units=c.units)


def _shown(row: Row, system: str) -> _Shown:
    is_rise = row.unit == "rise"
    unit = row.unit

    def say(value: float | None, signed: bool = False) -> str:
        if value is None:
            return NONE
        shown = value
        if is_rise:
            shown = units.difference_from_store(value, units.DISPLAY[system]["temperature"])
        text = f"{shown:+.1f}" if signed else f"{shown:.1f}"
        return text.replace("-", "−")

    if is_rise:
        unit = units.UNITS[units.DISPLAY[system]["temperature"]].label
    counted = ("", "")
    if row.n_before is not None:
        counted = (f" ({row.n_before})", f" ({row.n_after})")
    of = "runs" if row.unit == "% of runs" else "h"
    hours = f"{row.before_hours:.1f} and {row.after_hours:.1f} h, " if of == "h" else (
        f"{row.before_hours:.0f} and {row.after_hours:.0f} runs, "
    )  # fmt: skip
    known = row.before is not None
    return _Shown(
        name=row.name,
        unit=f"{unit} {row.state}".rstrip(),
        before=say(row.before) + (counted[0] if known else ""),
        after=say(row.after) + (counted[1] if known else ""),
        between=f"{say(row.low, True)} to {say(row.high, True)}" if row.low or row.high else NONE,
        hours=f"{hours}{row.before_days} and {row.after_days} days" if known else NONE,
        verdict=row.verdict,
        why=row.why,
        hue=HUES[row.verdict],
        shape=SHAPES[row.verdict],
        drawn=_drawn(row),
    )


def _drawn(row: Row) -> Markup:
    """Two marks on a line from 0 to the larger value; says nothing to a reader aloud."""
    if row.before is None or row.after is None:
        return Markup("")
    top = max(row.before, row.after, 1e-9)
    at = [8 + (_WIDTH - 16) * max(v, 0.0) / top for v in (row.before, row.after)]
    return Markup(
        f'<svg class="pair" width="{_WIDTH}" height="18" viewBox="0 0 {_WIDTH} 18" '
        'aria-hidden="true"><path d="M8 9H192" stroke="#CFCABD" class="s-rule"/>'
        f'<path d="M{at[0]:.1f} 9H{at[1]:.1f}" stroke="#17252B" class="s-ink"/>'
        f'<circle cx="{at[0]:.1f}" cy="9" r="5" fill="#FFFFFF" stroke="#17252B" '
        'stroke-width="1.6" class="s-ink f-card"/>'
        f'<circle cx="{at[1]:.1f}" cy="9" r="5" fill="#17252B" class="f-ink"/></svg>'
    )

"""The page of a replay: a small table with bars per group of settings, and what it cannot know."""

from __future__ import annotations

import textwrap

from pipeline import words
from pipeline.replay.record import Column, Replay, ReplayTable, Reproduced
from pipeline.replay.settings import BY_NAME, value_words
from reports.block import Block
from reports.display import NONE
from reports.markup import clean, fill
from reports.page import page_html
from reports.table import Cell, Table, table_html
from reports.table import Column as TableColumn

_HTML = """
<div class="verdict rule-note"><h2 id="h-verdict">What other settings would have commanded</h2>
<dl class="facts">
<div><dt>Log</dt><dd>{{ span }}</dd></div>
<div><dt>Tried</dt><dd>{{ asked }}</dd></div>
</dl>
{% for r in checks %}<p><b class="c-{{ r.hue }}"><span aria-hidden="true">{{ r.shape }}</span>
{{ r.word }}</b> {{ r.text }}</p>{% endfor %}
</div>
{% for t in tables %}
<h3 id="h-{{ t.key }}">{{ t.title }}</h3>
<p>{{ t.sentence }}</p>
{{ t.table }}
{% for n in t.notes %}<p class="small">{{ n }}</p>{% endfor %}
{% endfor %}
<div class="two"><div class="caution"><h3>What a replay cannot know</h3>
<ul>{% for s in cannot %}<li>{{ s }}</li>{% endfor %}</ul></div>
<div class="caution"><h3>Take care</h3>
<ul>{% for s in cautions %}<li>{{ s }}</li>{% endfor %}</ul></div></div>
"""
_HEAD = """<div class="sitehead"><div><h1>Other settings, same log: {{ name }}</h1>
<p>{{ zone }}</p></div></div>"""
_FOOT = (
    "<p>Made by zonetrail {{ version }}. Nothing was changed at the panel. Limits are replayed in "
    "the safer direction only.</p>"
)


def render_replay(made: Replay) -> str:
    """The page as one HTML file: no script, nothing that loads."""
    html = fill(
        _HTML,
        span=_span(made),
        asked="; ".join(asked_lines(made)),
        checks=[_checked(r) for r in made.reproduced],
        tables=[_table(t) for t in made.tables],
        cannot=made.cannot_know,
        cautions=made.cautions,
    )
    return page_html(
        f"Other settings, same log: {clean(made.name, 80)}",
        fill(_HEAD, name=clean(made.name, 80), zone=made.timezone),
        [Block("first", "", html)],
        fill(_FOOT, version=made.tool_version),
        skip="Skip to the tables",
        styles="compare.css",
    )


def _span(made: Replay) -> str:
    """From when to when the log was looked at."""
    return words.clock_span(
        made.start_ts, made.end_ts, made.timezone, with_year=True, units=made.units
    )


def replay_text(made: Replay, width: int = 100) -> str:
    """What the terminal shows: each table, whether the log agrees, what it cannot know."""
    lines = [f"Log: {_span(made)}"]
    for table in made.tables:
        lines += ["", table.title, *_text_rows(table)]
        lines += _bullets(table.notes, width)
    if made.reproduced:
        lines += ["", "As set, against the log"]
        for r in made.reproduced:
            shown = _checked(r)
            lines += _bullets([f"{shown['word']} {shown['text']}"], width)
    lines += ["", "What a replay cannot know", *_bullets(made.cannot_know, width)]
    lines += ["", "Take care", *_bullets(made.cautions, width)]
    return "\n".join(clean(line) for line in lines)


def asked_lines(made: Replay) -> list[str]:
    """What was tried, a line per setting."""
    tried = (
        (BY_NAME[name].title, [value_words(name, v, made.units) for v in values])
        for name, values in made.asked
    )
    return [f"{title} {words.joined(values, 'or')}" for title, values in tried]


def _bullets(texts: tuple[str, ...] | list[str], width: int) -> list[str]:
    return [textwrap.fill(f"  - {text}", width, subsequent_indent="    ") for text in texts]


def _figure(value: float | None, column: Column) -> str:
    if value is None:
        return NONE
    return f"{value:.1f}" if column.unit in ("h", "min", "%") else f"{value:.0f}"


def _titled(column: Column) -> str:
    return f"{column.title} ({column.unit})" if column.unit in ("h", "min", "%") else column.title


def _text_rows(table: ReplayTable) -> list[str]:
    """The table in columns that line up; a star marks what is set."""
    head = [*table.heads, *(_titled(c) for c in table.columns)]
    rows = [
        [*line.labels, *(_figure(v, c) for v, c in zip(line.values, table.columns, strict=True))]
        for line in table.lines
    ]
    n = len(table.heads)
    head = ["\n".join(textwrap.wrap(h, 24)) for h in head]
    widths = [
        max(*(len(part) for part in head[k].split("\n")), *(len(row[k]) for row in rows), 1)
        if rows
        else len(head[k])
        for k in range(len(head))
    ]

    def laid(cells: list[str], mark: str = " ") -> str:
        parts = [
            c.ljust(w) if k < n else c.rjust(w)
            for k, (c, w) in enumerate(zip(cells, widths, strict=True))
        ]
        return f" {mark} {'  '.join(parts)}".rstrip()

    deep = max(h.count("\n") for h in head) + 1
    split = [h.split("\n") for h in head]
    tall = [[""] * (deep - len(parts)) + parts for parts in split]
    lines = [laid([column[k] for column in tall]) for k in range(deep)]
    lines += [
        laid(row, "*" if line.is_present else " ")
        for row, line in zip(rows, table.lines, strict=True)
    ]
    if any(line.is_present for line in table.lines):
        lines.append("   * as set on site")
    return lines


def _table(table: ReplayTable) -> dict[str, object]:
    """The group's parts; the figure that its sentence speaks of has a bar from 0 in its cell."""
    drawn = table.drawn
    top = 0.0
    if drawn is not None:
        top = max((line.values[drawn] or 0.0 for line in table.lines), default=0.0)
    rows = []
    for line in table.lines:
        cells = [Cell(label) for label in line.labels]
        if line.is_present:
            cells[0] = Cell(f"{line.labels[0]}, as set", word="strong")
        for k, (value, column) in enumerate(zip(line.values, table.columns, strict=True)):
            bar = value / top if k == drawn and value is not None and top > 0 else None
            cells.append(Cell(_figure(value, column), bar=bar))
        rows.append(tuple(cells))
    heads = tuple(TableColumn(_capital(h)) for h in table.heads)
    figures = tuple(TableColumn(_capital(_titled(c)), "number") for c in table.columns)
    return {
        "key": table.key,
        "title": table.title,
        "sentence": table.sentence,
        "notes": table.notes,
        "table": table_html(Table(f"{table.title}: what was tried", heads + figures, tuple(rows))),
    }


def _capital(title: str) -> str:
    return title[:1].upper() + title[1:]


def _checked(r: Reproduced) -> dict[str, str]:
    """Whether the row "as set" gives what was logged, in words with both figures."""
    figures = " and ".join(
        f"{value:.1f} h {how}" if r.unit == "h" else f"{value:.0f} {how}"
        for value, how in ((r.logged, "logged"), (r.replayed, "replayed"))
    )
    what = r.what[0].upper() + r.what[1:]
    return {
        "word": "Agrees with the log." if r.agrees else "Does not agree with the log.",
        "shape": "=" if r.agrees else "▲",
        "hue": "note" if r.agrees else "act",
        "text": words.sentence(f"{what} as set: {figures}; {r.why}"),
    }

"""The table record and its HTML: captions, scopes, numbers aligned, bars inside cells.

A bar or a range in a cell is drawn from the number that stands in it, so a table with bars is a
figure that cannot disagree with its numbers.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from html import unescape

from markupsafe import Markup, escape

from reports.markup import clean, kept_together, script_json
from reports.theme import LIGHT
from reports.wire import packed

_HEAD_CLASS = {"text": Markup(), "number": Markup(' class="n"'), "wide": Markup(' class="x"')}
_TABLE_HEAD = re.compile(r'<table class="(k\w{7})[^"]*" [^>]*><thead><tr>(.*?)</tr>')
_TITLE = re.compile(r'<th scope="col"(?: class="(\w)")?>(.*?)</th>')
_COLUMN_RULE = {
    "n": "text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap",
    "x": "min-width:9rem",
}
SHORT_NUMBER = 16
"""A number with its unit of up to this length is not broken."""
MOST_ROWS = 400
"""Rows that a page lists of one table, a year's days among them; more travel packed, for Copy, CSV
and whoever wants to see them: a year's thousands would be a third of the page."""
DAYS_LISTED = 28
"""Four weeks of a table by the day; of a longer log the others open on demand."""
LEFT_CLASS = "rows-left"
MANY_COLUMNS = 7
"""From here on a table is set smaller, to stay inside the page."""


@dataclass(frozen=True)
class Column:
    """A column. kind: text, number or wide (text that may wrap and take the room)."""

    title: str
    kind: str = "text"


@dataclass(frozen=True)
class Cell:
    """A cell. bar: share 0..1 of the column's largest; spread: (low, mid, high, line) shares.

    word : a class name that sets weight, such as 'strong'
    href : a link inside the page, '#...'
    icon : a drawing of our own before the text
    """

    text: str
    bar: float | None = None
    hue: str = "on"
    spread: tuple[float, float, float, float | None] | None = None
    href: str = ""
    icon: str = ""
    word: str = ""


@dataclass(frozen=True)
class Table:
    """A table: caption, columns, rows of cells; the first column heads its row.

    fold_after : rows beyond this many open on demand; paper says that they are there
    folded : the whole table opens on demand
    is_printed : what is folded is printed all the same
    is_whole : every row is listed, however many
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell | str, ...], ...]
    note: str = ""
    fold_after: int = 0
    folded: bool = False
    is_printed: bool = False
    is_whole: bool = False


# on a phone every row is a card, and numbers stand to the left; on paper columns share the width
_COLUMN_MEDIA = {
    "n": "print,screen and (min-width:601px)",
    "x": "screen and (min-width:601px)",
}


def table_html(table: Table) -> Markup:
    """The table as HTML; long ones fold, and on a phone every row is a card of label and value."""
    if table.folded:
        return Markup('<details class="more{}"><summary>{} ({})</summary>{}</details>').format(
            " prints named" if table.is_printed else "",
            clean(table.caption),
            _rows(len(table.rows)),
            _body(table, table.rows, ""),
        )
    if not table.fold_after or len(table.rows) <= table.fold_after + 3:
        return _body(table, table.rows, table.caption)
    first, rest = table.rows[: table.fold_after], table.rows[table.fold_after :]
    shown = f"{table.caption} (the first {len(first)} of {len(table.rows):,})"
    return _body(table, first, shown) + Markup(
        '<details class="more{printed}"><summary>The other {n}</summary>{body}</details>'
    ).format(
        printed=" prints" if table.is_printed else "",
        n=_rows(len(rest)),
        body=_body(table, rest, "", goes_on=True),
    )


def label_class(columns: tuple[Column, ...]) -> str:
    """The class of tables with these titles: on a phone it says what each cell of a row is."""
    titles = "\n".join(clean(c.title) for c in columns)
    return f"k{hashlib.sha256(titles.encode()).hexdigest()[:7]}"


def label_rules(html: str) -> str:
    """CSS that gives the cells of every table in `html` their column's title and kind, once.

    Written into each cell instead, the titles were a twelfth of a page and the kinds a twentieth.
    """
    titles: dict[tuple[str, int], str] = {}
    kinds: dict[str, dict[tuple[str, int], str]] = {"n": {}, "x": {}}
    for table, head in _TABLE_HEAD.findall(html):
        for n, (kind, title) in enumerate(_TITLE.findall(head), start=1):
            # whatever is not a plain word goes in as its code point
            told = re.sub(r"[^\w -]", lambda found: f"\\{ord(found[0]):x} ", unescape(title))
            if n > 1:
                titles[table, n] = f'.{table} td:nth-child({n}){{--l:"{told}"}}'
            if kind:
                narrow = ":not(.many)" if kind == "x" else ""
                kinds[kind][table, n] = (
                    f".{table}{narrow} tbody>tr>:nth-child({n}){{{_COLUMN_RULE[kind]}}}"
                )
    rules = [titles[key] for key in sorted(titles)]
    for kind, where in _COLUMN_MEDIA.items():
        placed = "".join(kinds[kind][key] for key in sorted(kinds[kind]))
        rules += [f"@media {where}{{{placed}}}"] if placed else []
    return "".join(rules)


def _rows(n: int) -> str:
    return f"{n:,} row" if n == 1 else f"{n:,} rows"


def _body(
    table: Table, rows: tuple[tuple[Cell | str, ...], ...], caption: str, goes_on: bool = False
) -> Markup:
    """Caption above the part that may scroll; without a caption the fold above it names it.

    goes_on : these are the rest of the table before, and are copied and saved with it
    """
    note, left = "" if goes_on else table.note, rows[:0]
    if not table.is_whole:
        rows, left = rows[:MOST_ROWS], rows[MOST_ROWS:]
    if left:
        note = (
            f"{len(table.rows) - len(left):,} of {len(table.rows):,} rows are listed; the other "
            f"{len(left):,} are in this page too: Copy and CSV take all of them. {note}"
        ).strip()
    head = Markup("").join(
        Markup('<th scope="col"{k}>{t}</th>').format(k=_HEAD_CLASS[c.kind], t=clean(c.title))
        for c in table.columns
    )
    body = Markup("").join(_row(table.columns, row) for row in rows)
    below = Markup('<p class="tnote">{}</p>').format(clean(note)) if note else Markup()
    above = Markup('<p class="cap">{}</p>').format(clean(caption)) if caption else Markup()
    return Markup(
        '{above}<div class="scroll"{rest}{n_left} tabindex="0" role="group" aria-label="{label}">'
        '<table class="{kind}" aria-label="{label}"><thead><tr>{head}</tr></thead>'
        "<tbody>{body}</tbody>"
        "</table>{left}</div>{below}"
    ).format(
        above=above,
        rest=Markup(" data-rest") if goes_on else "",
        n_left=Markup(' data-left="{}"').format(len(left)) if left else "",
        left=_packed(left),
        kind=label_class(table.columns) + (" many" if len(table.columns) >= MANY_COLUMNS else ""),
        label=clean(caption or table.caption),
        head=head,
        body=body,
        below=below,
    )


def _packed(rows: tuple[tuple[Cell | str, ...], ...]) -> Markup:
    """Rows as the words of their cells, in text that is no script until the page's own opens it."""
    if not rows:
        return Markup()
    words = [[clean(c.text if isinstance(c, Cell) else c) for c in row] for row in rows]
    return Markup('<script type="text/plain" class="{}">{}</script>').format(
        LEFT_CLASS, Markup(packed(script_json(words)))
    )


def _row(columns: tuple[Column, ...], row: tuple[Cell | str, ...]) -> Markup:
    out = []
    for i, (column, item) in enumerate(zip(columns, row, strict=True)):
        cell = item if isinstance(item, Cell) else Cell(item)
        tag = "th" if i == 0 else "td"  # a first th heads its row without saying so
        drawing = _drawing(cell)
        long = column.kind == "number" and len(cell.text) > SHORT_NUMBER
        kinds = [k for k in ("r" if long else "", "d" if drawing else "", cell.word) if k]
        # plain strings, each part escaped where it enters: a page has tens of thousands of cells
        names = f' class="{escape(" ".join(kinds))}"' if kinds else ""
        inner = f"{cell.icon}{escape(kept_together(clean(cell.text)))}"
        if cell.href.startswith("#"):
            inner = f'<a href="{escape(cell.href)}">{inner}</a>'
        out.append(f"<{tag}{names}>{inner}{drawing}</{tag}>")
    return Markup(f"<tr>{''.join(out)}</tr>")


def _paint(attribute: str, hue: str) -> Markup:
    return Markup('class="{}-{}" {}="{}"').format(attribute[0], hue, attribute, LIGHT[hue])


def _drawing(cell: Cell) -> Markup:
    kind = "cellbar"
    if cell.bar is not None:
        width = max(0.0, min(1.0, cell.bar)) * 100
        inner = Markup('<rect width="{w}%" height="6" y="1" {p}/>').format(
            w=f"{width:.1f}", p=_paint("fill", cell.hue)
        )
    elif cell.spread is not None:
        kind += " range"
        low, mid, high, line = (None if v is None else f"{v * 100:.1f}%" for v in cell.spread)
        inner = Markup(
            '<rect width="100%" height="1" y="4" class="f-rule" fill="#CFCABD"/>'
            '<line x1="{low}" x2="{high}" y1="4.5" y2="4.5" {p} stroke-width="5"/>'
            '<line x1="{mid}" x2="{mid}" y1="0" y2="9" {i} stroke-width="2.5"/>'
        ).format(
            low=low, mid=mid, high=high, p=_paint("stroke", cell.hue), i=_paint("stroke", "ink")
        )
        if line is not None:
            inner += Markup(
                '<line x1="{x}" x2="{x}" y1="0" y2="9" {p} stroke-width="2" '
                'stroke-dasharray="2.5 1.5"/>'
            ).format(x=line, p=_paint("stroke", "limit"))
    else:
        return Markup()
    return Markup('<svg class="{}" width="100%" height="9" aria-hidden="true">{}</svg>').format(
        kind, inner
    )

"""The ticket's sheet: exactly one page of Letter or A4, no script; on a phone one column.

How much of each part is shown is settled here, from an estimate of the lines it takes in the
widths of either paper: the sheet steps down through LEVELS until it fits, and says what stays in
the report. Nothing is cut off by the paper's edge.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, replace

from markupsafe import Markup

from pipeline.ticket import Ticket
from pipeline.ticket_checks import TicketCheck
from reports.block import Block
from reports.blocks.header import KIND_WORDS
from reports.blocks.settings import SETTING_WORDS, VALUE_WORDS
from reports.display import plural
from reports.markup import clean, fill
from reports.page import page_html
from reports.theme import CALL_MEANS, CALL_WORDS, call_hue, call_shape

WIDTH_MM, HEIGHT_MM = 194.0, 263.0
"""What both papers leave inside margins of 8 mm: Letter is the lower, A4 the narrower."""
LEFT_SHARE, RIGHT_SHARE = 0.62, 0.355
_POINT_MM = 0.3528
_NARROW = {
    0.222: "ijl'’", 0.278: " ft.,:;!/|I\u00a0", 0.333: "r()-“”", 0.5: "cksvxyzJ", 0.722: "wCDHNRUw",
    0.778: "GOQ", 0.833: "mM", 0.944: "W", 1.0: "…—@%",
}  # fmt: skip
_WIDTH_EM = {c: width for width, letters in _NARROW.items() for c in letters}
"""Letter widths that Helvetica, Arial and Liberation Sans share (the core font metrics, from
memory); other small letters and digits 0.556, other capitals 0.667."""
OVER = 0.96
"""The estimate stands 5 to 7 % over what a browser prints; so much of that is taken back."""


@dataclass(frozen=True)
class Level:
    """How much is shown: type size, and the most of each part."""

    point: float
    checks: int
    check_letters: int
    sentence_letters: int
    ruled_out: int
    ruled_letters: int
    settings: int
    place_letters: int
    cautions: int
    caution_letters: int
    data: int
    data_letters: int


LEVELS = (
    Level(9.0, 7, 900, 600, 6, 160, 16, 60, 14, 400, 5, 360),
    Level(8.6, 6, 900, 600, 5, 130, 16, 60, 14, 300, 4, 320),
    Level(8.4, 6, 700, 520, 5, 100, 16, 60, 12, 240, 4, 260),
    Level(8.2, 6, 600, 480, 5, 90, 16, 60, 10, 180, 4, 220),
    Level(8.0, 5, 560, 440, 4, 90, 16, 60, 10, 160, 4, 200),
    Level(8.0, 5, 460, 440, 4, 90, 16, 60, 8, 150, 3, 180),
    Level(7.8, 5, 440, 400, 3, 80, 15, 45, 10, 150, 3, 180),
    Level(7.7, 5, 440, 400, 3, 80, 15, 45, 10, 150, 3, 180),
    Level(7.6, 4, 400, 340, 3, 80, 12, 45, 8, 130, 3, 160),
    Level(7.4, 3, 300, 300, 2, 70, 10, 24, 6, 110, 2, 120),
    Level(7.2, 2, 240, 240, 2, 60, 8, 24, 5, 90, 1, 100),
)
"""From all there is to the least: a page of three findings stands at one of the first."""

_HTML = """
<div class="tk" style="--pt:{{ level.point }}pt">
<div class="tkhead"><div><h1>{{ name }}</h1><p>{{ system }}</p></div>
<p class="fillin"><span>Ticket</span><span>Technician</span><span>Date</span></p></div>
{% if stop %}
<section class="tkstop" aria-label="Stop first"><b>STOP</b>
<ul>{% for s in stop %}<li>{{ s }}</li>{% endfor %}</ul></section>
{% endif %}
<section class="tkasked">
{% if answers %}<h2>Customer’s words, and the log</h2>
<ul class="said">{% for a in answers %}<li>“{{ a.words }}” <b>{{ a.said }}</b></li>{% endfor %}</ul>
{% endif %}
<p><b>Looked at</b> {{ t.seen }} ({{ t.window }}, {{ t.timezone }})</p>
</section>
<section class="tkfound rule-{{ hue }}">
<p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b> <span>{{ means }}</span></p>
<h2 id="h-verdict" class="sentence">{{ sentence }}</h2>
{% if sure %}<p><b>How sure</b> {{ sure }}</p>{% endif %}
{% if out %}<p><b>Ruled out</b> {{ out }}</p>{% endif %}
</section>
<div class="cols">
<div class="left">
<section><h2>Make it happen</h2><p>{{ steps }}</p>
{% if when %}<p><b>When</b> {{ when }}</p>{% endif %}</section>
{% if checks %}<section><h2>Checks, in walking order</h2>
<ol class="walk">{% for c in checks %}
<li><b>{{ c.place }}</b> {{ c.how }}
{% if c.good %} <span><i>Good</i> {{ c.good }}</span>{% endif %}
{% if c.bad %} <span><i>If not</i> {{ c.bad }}</span>{% endif %}</li>{% endfor %}
</ol><p class="small">If good, go on to the next.
{% if more %} {{ more }} more in the report.{% endif %}</p></section>{% endif %}
{% if places %}<p><b>Where the dampers are</b> {% for zone, where in places %}{{ zone }}:
{{ where }}{{ "." if loop.last else "; " }}{% endfor %}</p>{% endif %}
</div>
<div class="right">
<section><h2>Bring</h2><p>{{ bring }}</p></section>
<section><h2>Settings</h2>
<table><thead><tr><th scope="col">As found</th><th scope="col"><span class="off">value</span></th>
<th scope="col">As left</th></tr></thead>
<tbody>{% for name, value in settings %}
<tr><th scope="row">{{ name }}</th><td>{{ value }}</td><td class="line"></td></tr>{% endfor %}
</tbody></table>{% if more_settings %}<p class="small">{{ more_settings }} more in the report.</p>
{% endif %}</section>
</div></div>
<section><h2>Measured today</h2>
<ul class="boxes">{% for name, band in boxes %}<li>{{ name }}
{% if band %}<span class="small">{{ band }}</span>{% endif %}</li>{% endfor %}</ul></section>
<section class="tkcare"><h2>Do not, and take care</h2>
<ul class="halves">{% for c in cautions %}<li>{{ c }}</li>{% endfor %}</ul>
{% if more_cautions %}<p class="small">{{ more_cautions }} in the report.</p>{% endif %}</section>
<section class="tkdata"><h2>The data behind it</h2>
<p>{{ data }}</p>
<p><b>Loggers</b> <span class="box"></span> leave <span class="box"></span> take.
{{ prove }} <span class="until">Fix can be proven on</span></p></section>
</div>
"""
ANSWER_LETTERS = 150
WATCHED_END = "whichever comes first."
"""Ends the sentence of when to end a forced call: a limit or the plate's maximum."""
_FOOT = (
    "<p>zonetrail {{ version }}, run {{ run }}. A log shows symptoms, not causes, and is no safety "
    "check: it measures no carbon monoxide, gas leak, venting or wiring. Local codes, the "
    "equipment’s instructions and licensed practice come first.{{ redacted }}</p>"
)


def render_ticket(ticket: Ticket, paper: str = "letter", level: int | None = None) -> str:
    """The sheet as one HTML file: no script, nothing that loads; the same bytes for the same input.

    paper : letter or a4; level : how little is shown, an index of LEVELS; None: the first that fits
    """
    at = fitting_level(ticket) if level is None else level
    shown = _Shown(ticket, LEVELS[at])
    title = f"{shown.name}: ticket"
    html = fill(
        _HTML,
        t=ticket,
        level=LEVELS[at],
        name=shown.name,
        system=shown.system,
        stop=shown.stop,
        answers=shown.answers,
        hue=call_hue(ticket.call),
        word=CALL_WORDS[ticket.call],
        means=CALL_MEANS[ticket.call],
        shape=Markup(call_shape(ticket.call)),
        sentence=shown.sentence,
        sure=shown.sure,
        out=shown.ruled_out,
        steps=shown.steps,
        when=shown.when,
        checks=shown.checks,
        more=shown.more_checks,
        bring=shown.bring,
        prove=shown.prove,
        settings=shown.settings,
        more_settings=shown.more_settings,
        boxes=ticket.boxes,
        places=shown.places,
        cautions=shown.cautions,
        more_cautions=shown.more_cautions,
        data=shown.data,
    )
    foot = fill(
        _FOOT,
        version=ticket.tool_version,
        run=ticket.run_id,
        redacted=" Name, address and notes are left out." if ticket.redacted else "",
    )
    page = page_html(
        title, Markup(""), [Block("ticket", "", html)], foot, skip="Skip to the sheet",
        styles="ticket.css",
    )  # fmt: skip
    return page.replace("@page ticket", f"@page{{size:{paper}}}\n@page ticket", 1)


def fitting_level(ticket: Ticket) -> int:
    """The first level whose estimated height is inside the page; the last if none is."""
    for n, level in enumerate(LEVELS):
        if _Shown(ticket, level).height_mm() * OVER <= HEIGHT_MM:
            return n
    return len(LEVELS) - 1


class _Shown:
    """What one level shows of a ticket, and how high that stands on paper."""

    def __init__(self, ticket: Ticket, level: Level) -> None:
        self.ticket = ticket
        self.level = level
        t = ticket
        self.name = clean(one_line(t.name), 70)
        system = KIND_WORDS.get(t.kind, t.kind)
        if t.n_zones:
            system = f"{t.n_zones}-zone {system}"
        self.system = system + (f" · site {t.site_id}" if t.name != t.site_id else "")
        self.answers = [
            {"words": cut(a.words, 60), "said": cut_aside(a.said, ANSWER_LETTERS)}
            for a in t.answers[:4]
        ]
        self.stop = [cut(s, 300) for s in t.stop[:4]]
        self.when = cut(t.when, 120)
        self.bring = cut("; ".join(t.bring), 260) + "."
        self.prove = cut(t.prove, 260)
        self.sentence = cut(t.sentence, level.sentence_letters)
        self.sure = cut(t.how_sure, 260)
        self.ruled_out = self._ruled_out()
        self.steps = cut_steps(t.steps, level.sentence_letters + 120)
        self.checks = self._checks()
        self.more_checks = t.n_more_checks + len(t.checks) - len(self.checks)
        named = [
            (
                cut(SETTING_WORDS.get(k, k.replace("_", " ").capitalize()), 34),
                cut(VALUE_WORDS.get(v, v), 24),
            )
            for k, v in t.settings
        ]
        self.settings = [(n, v or "not read") for n, v in named[: level.settings]]
        self.more_settings = len(named) - len(self.settings)
        self.places = [(cut(z, 30), cut(w, level.place_letters)) for z, w in t.places[:6]]
        shown = t.do_not[: max(level.cautions, 1)]
        self.cautions = [
            # the worst finding's own cautions stand whole longest
            cut(c, level.caution_letters * (2 if i < t.n_head_cautions else 1))
            for i, c in enumerate(shown)
        ]
        left = len(t.do_not) - len(shown)
        self.more_cautions = plural(left, "more caution") if left else ""
        self.data = " ".join(cut(d, level.data_letters) for d in t.data[: level.data])

    def _checks(self) -> list[TicketCheck]:
        """Those that matter most, in walking order."""
        return [
            _cut_check(c, self.level.check_letters)
            for c in self.ticket.checks
            if c.rank < self.level.checks
        ]

    def _ruled_out(self) -> str:
        said = [in_short(r, self.level.ruled_letters) for r in self.ticket.ruled_out]
        shown = said[: self.level.ruled_out]
        tail = f"; {len(said) - len(shown)} more in the report" if len(said) > len(shown) else ""
        return ("; ".join(shown) + tail + ".") if shown else ""

    # ------------------------------------------------------------------ how high it stands

    def height_mm(self) -> float:
        """The estimated height on paper; ticket.css gives the parts these sizes."""
        t, p = self.ticket, self.level.point
        line = 1.28 * p * _POINT_MM
        head = 1.3 * line
        full, left, right = WIDTH_MM, WIDTH_MM * LEFT_SHARE, WIDTH_MM * RIGHT_SHARE
        total = 2.6 * line * 1.25  # the name, the system
        if self.stop:
            total += 3.0 + sum(self.lines(s, full - 26) * line for s in self.stop)
        if t.answers:
            pairs = [f"“{a['words']}” {a['said']}" for a in self.answers]
            total += head + sum(self.lines(x, full - 4) * line for x in pairs)
        total += self.lines(f"Looked at {t.seen} ({t.window}, {t.timezone})", full) * line
        total += 3.0 + line  # the call
        total += self.lines(self.sentence, full - 6, 1.18) * line * 1.18
        total += sum(
            self.lines("How sure: " + s, full - 6) * line for s in (self.sure, self.ruled_out) if s
        )
        l_mm = head + self.lines(self.steps, left) * line
        l_mm += self.lines("When " + self.when, left) * line if self.when else 0
        if self.checks:
            l_mm += head + line
            l_mm += sum(
                self.lines(f"{c.place} {c.how} Good {c.good} If not {c.bad}", left - 5) * line + 0.5
                for c in self.checks
            )
        if self.places:
            named = "; ".join(f"{zone}: {where}" for zone, where in self.places)
            l_mm += self.lines(f"Where the dampers are {named}", left) * line
        r_mm = head + self.lines(self.bring, right) * line
        r_mm += head + 1.1 * line
        r_mm += sum(
            max(self.lines(n, right * 0.54), self.lines(v, right * 0.28)) * line + 0.7
            for n, v in self.settings
        )
        r_mm += line if self.more_settings else 0
        total += max(l_mm, r_mm) + head + 4.2 * line  # and what was measured
        half = full / 2 - 6
        columns = [self.lines(c, half) * line for c in self.cautions]
        total += 1.5 + head + (sum(columns) + max(columns, default=0)) / 2
        total += line if self.more_cautions else 0
        total += 1.5 + head + self.lines(self.data, full) * line
        until = f"Fix can be proven on {'_' * 20}"
        total += self.lines(f"Loggers leave take {self.prove} {until}", full) * line
        return total + 2.2 * line + 2.0  # the foot

    def lines(self, text: str, width_mm: float, scale: float = 1.0) -> int:
        """Lines of the text in this width at the level's size."""
        em = self.level.point * _POINT_MM * scale
        letters = sum(_width_em(c) for c in clean(text))
        return max(1, math.ceil(letters * em / (width_mm - 2 * em)))


def _width_em(c: str) -> float:
    if c in _WIDTH_EM:
        return _WIDTH_EM[c]
    if unicodedata.east_asian_width(c) in "WF" or unicodedata.category(c) == "So":
        return 1.05
    return 0.667 if c.isupper() else 0.556


def in_short(said: str, limit: int) -> str:
    """What was ruled out; where it is long, without its reasons, which stand in the report."""
    said = one_line(said).rstrip(".")
    head, _, why = said.partition(": ")
    if len(said) > limit and not why.startswith(("none", "not once", "no ")):
        said = head
    return cut(said[:1].lower() + said[1:], limit)


def _cut_check(c: TicketCheck, most: int) -> TicketCheck:
    """The check whole where it fits; else each part has its share: a short one lends its rest."""
    good = cut(c.good, most // 4)
    bad = cut(c.bad, max(most // 4, most - len(one_line(c.how)) - len(good)))
    return replace(c, how=cut(c.how, most - len(good) - len(bad)), good=good, bad=bad)


def cut_steps(steps: str, limit: int) -> str:
    """How to make it happen, cut; never before it has said when to end the call."""
    steps = one_line(steps)
    said, end, rest = steps.partition(WATCHED_END)
    whole = said + end if end else ""
    if len(whole) + 2 < limit or not end:
        return cut(steps, limit)
    return f"{whole} …" if rest else whole


def cut_aside(text: str, limit: int) -> str:
    """The text; where it is too long, first without what stands in brackets at its end."""
    text = one_line(text)
    return text if len(text) <= limit else cut(re.sub(r" \([^()]*\)$", "", text), limit)


def cut(text: str, limit: int) -> str:
    """The text on one line, cut at a sentence's or word's end with an ellipsis."""
    text = one_line(text)
    if len(text) <= limit:
        return text
    ends = [m.end() for m in re.finditer(r"[.!?](?= [A-Z])|;(?= )", text[: limit - 1])]
    if ends and ends[-1] >= limit * 0.5:
        return text[: ends[-1]].rstrip(";") + " …"
    head = text[: limit - 1]
    space = head.rfind(" ")
    return (head[:space] if space > limit * 0.4 else head).rstrip(" ,;:") + "…"


def one_line(text: str) -> str:
    """The text with every run of white space as one blank."""
    return re.sub(r"\s+", " ", text).strip()

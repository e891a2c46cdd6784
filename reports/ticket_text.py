"""The ticket as plain text that pastes into a ticket field: under 2,000 characters, plain lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.findings._base import PLACES
from pipeline.ticket import WORTH_READING, Ticket
from pipeline.ticket_checks import TicketCheck
from reports.blocks.settings import SETTING_WORDS, VALUE_WORDS
from reports.markup import clean
from reports.ticket import cut, cut_steps, in_short, one_line

MOST_LETTERS = 1990


def ticket_text(ticket: Ticket) -> str:
    """The sheet in short, below 2,000 characters; says where more stands.

    What is least needed in the driveway gives way first, one part at a time: data, what to bring,
    what was ruled out, further checks; the stop line, the verdict with how sure it is, when to end
    a forced call and what not to do stay longest.
    """
    size = _FULL
    for part, least in _GIVE_WAY:
        text = _text(ticket, size)
        if len(text) <= MOST_LETTERS:
            return text
        size = replace(size, **{part: least})
    text = _text(ticket, size)
    # names of any length are cut above, so this is only reached with very many of everything
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1]}…"


@dataclass(frozen=True)
class _Size:
    """The most of each part: letters, or how many."""

    verdict: int = 460
    sure: int = 130
    stop: int = 260
    answers: int = 4
    out: int = 3
    steps: int = 400
    checks: int = 7
    check: int = 170
    good: int = 70
    cautions: int = 5
    caution: int = 150
    bring: int = 170
    settings: int = 300
    data: int = 2


_FULL = _Size()
_GIVE_WAY = (
    ("data", 1),
    ("cautions", 4),
    ("out", 2),
    ("check", 130),
    ("checks", 6),
    ("data", 0),
    ("bring", 120),
    ("cautions", 3),
    ("settings", 200),
    ("caution", 120),
    ("good", 0),
    ("check", 100),
    ("verdict", 310),
    ("cautions", 2),
    ("out", 1),
    ("settings", 150),
    ("bring", 85),
    ("check", 80),
    ("checks", 5),
    ("caution", 105),
    ("bring", 60),
    ("verdict", 250),
    ("settings", 110),
    ("steps", 330),
    ("sure", 70),
    ("check", 65),
    ("checks", 4),
    ("steps", 290),
    ("out", 0),
    ("settings", 80),
    ("check", 55),
    ("caution", 90),
    ("checks", 3),
    ("stop", 200),
    ("bring", 0),
    ("answers", 2),
    ("verdict", 220),
    ("steps", 200),
    ("settings", 0),
    ("stop", 170),
    ("checks", 2),
    ("caution", 80),
    ("answers", 1),
    ("verdict", 180),
)


def _shown(checks: Sequence[TicketCheck], most: int) -> list[TicketCheck]:
    """Those that weigh most in walking order; the walk begins at a thermostat where one is due."""
    weighed = sorted(checks, key=lambda c: c.rank)
    first = [c for c in weighed if c.place == PLACES["thermostat"]][:1]
    chosen = weighed[:most]
    if first and most > 2 and not any(c.place == first[0].place for c in chosen):
        chosen = [*chosen[:-1], *first]
    return [c for c in checks if c in chosen]


def _settings(t: Ticket) -> str:
    """What was read first, the rest as not read; those that limits and stages rest on lead."""
    order = {key: n for n, key in enumerate(WORTH_READING)}
    ranked = sorted(t.settings, key=lambda kv: (not kv[1], order.get(kv[0], len(order))))
    return "; ".join(
        f"{SETTING_WORDS.get(k, k).lower()} {VALUE_WORDS.get(v, v) or 'not read'}"
        for k, v in ranked
    )


def _text(t: Ticket, size: _Size) -> str:
    name = cut(t.name, 60) + (f" ({cut(t.site_id, 40)})" if t.name != t.site_id else "")
    lines = [name]
    lines += [f"STOP: {cut(s, size.stop)}" for s in t.stop]
    for a in t.answers[: size.answers]:
        said = a.said.split(" (")[0]
        lines.append(f'"{cut(a.words, 40)}": {cut(said, 110)}')
    until = t.window.rpartition(" to ")[2]
    lines += [f"LOG: {t.seen}, until {until}", f"{t.call.upper()}: {cut(t.sentence, size.verdict)}"]
    if t.how_sure and size.sure:
        lines.append(f"HOW SURE: {cut(t.how_sure, size.sure)}")
    if t.ruled_out and size.out:
        out = "; ".join(in_short(r, 60) for r in t.ruled_out[: size.out])
        lines.append(f"RULED OUT: {out}")
    lines.append(f"MAKE IT HAPPEN: {cut_steps(t.steps, size.steps)}")
    if t.when:
        lines.append(f"WHEN: {cut(t.when, 110)}")
    shown = _shown(t.checks, size.checks)
    for n, c in enumerate(shown, start=1):
        good = f" Good: {cut(c.good, size.good)}" if c.good and size.good else ""
        lines.append(f"{n}. {c.place}: {cut(c.how, size.check)}{good}")
    if size.bring:
        lines.append(f"BRING: {cut(', '.join(t.bring), size.bring)}")
    if size.settings and t.settings:
        lines.append(f"AS FOUND: {cut(_settings(t), size.settings)}")
    lines += [f"TAKE CARE: {cut(c, size.caution)}" for c in t.do_not[: size.cautions]]
    lines += [f"DATA: {cut(d, 120)}" for d in t.data[: size.data]]
    left = len(t.checks) + t.n_more_checks - len(shown)
    more = f"{left} more checks and all cautions" if left > 0 else "All cautions"
    lines.append(f"{more}: in the report. Not a safety check.")
    return "\n".join(clean(one_line(line)) for line in lines)

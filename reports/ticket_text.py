"""The ticket as plain text that pastes into a ticket field: under 2,000 characters, plain lines."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.ticket import Ticket
from reports.blocks.settings import SETTING_WORDS, VALUE_WORDS
from reports.markup import clean
from reports.ticket import cut, in_short, one_line

MOST_LETTERS = 1990


def ticket_text(ticket: Ticket) -> str:
    """The sheet in short, below 2,000 characters; says where more stands.

    What is least needed in the driveway gives way first, one part at a time: data, settings, what
    was ruled out, further checks; the stop line, the verdict and what not to do stay longest.
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
    stop: int = 260
    answers: int = 4
    out: int = 3
    steps: int = 380
    checks: int = 5
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
    ("checks", 4),
    ("data", 0),
    ("bring", 120),
    ("cautions", 3),
    ("settings", 170),
    ("caution", 130),
    ("good", 0),
    ("out", 1),
    ("check", 110),
    ("verdict", 310),
    ("cautions", 2),
    ("settings", 90),
    ("checks", 3),
    ("settings", 0),
    ("bring", 85),
    ("caution", 100),
    ("check", 100),
    ("steps", 330),
    ("verdict", 240),
    ("check", 90),
    ("stop", 170),
    ("answers", 2),
    ("bring", 0),
    ("steps", 230),
    ("out", 0),
    ("checks", 2),
    ("caution", 80),
    ("answers", 1),
    ("steps", 200),
    ("verdict", 180),
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
    if t.ruled_out and size.out:
        out = "; ".join(in_short(r, 60) for r in t.ruled_out[: size.out])
        lines.append(f"RULED OUT: {out}")
    lines.append(f"MAKE IT HAPPEN: {cut(t.steps, size.steps)}")
    if t.when:
        lines.append(f"WHEN: {cut(t.when, 110)}")
    weighed = sorted(t.checks, key=lambda c: c.rank)[: size.checks]
    shown = [c for c in t.checks if c in weighed]
    for n, c in enumerate(shown, start=1):
        good = f" Good: {cut(c.good, size.good)}" if c.good and size.good else ""
        lines.append(f"{n}. {c.place}: {cut(c.how, size.check)}{good}")
    if size.bring:
        lines.append(f"BRING: {cut(', '.join(t.bring), size.bring)}")
    if size.settings and t.settings:
        named = (
            f"{SETTING_WORDS.get(k, k)} {VALUE_WORDS.get(v, v) or 'not read'}"
            for k, v in t.settings
        )
        lines.append(f"AS FOUND: {cut('; '.join(named), size.settings)}")
    lines += [f"TAKE CARE: {cut(c, size.caution)}" for c in t.do_not[: size.cautions]]
    lines += [f"DATA: {cut(d, 120)}" for d in t.data[: size.data]]
    left = len(t.checks) + t.n_more_checks - len(shown)
    more = f"{left} more checks and all cautions" if left > 0 else "All cautions"
    lines.append(f"{more}: in the report. Not a safety check.")
    return "\n".join(clean(one_line(line)) for line in lines)

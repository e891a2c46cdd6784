"""What each column of an export seems to be and what it holds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

import numpy as np

from pipeline.ingest.columns import ColumnGuess, guess_column, split_header
from pipeline.ingest.export_file import (
    NAME_WORDS,
    OpenExport,
    guess_long,
    long_columns,
    unit_column,
)
from pipeline.ingest.rows import Rows
from pipeline.ingest.values import ERROR_WORDS, number_of, state_of, with_unit
from pipeline.ingest.written_times import Ints, text_kind
from pipeline.thresholds import ERROR_NUMBERS, THRESHOLDS

MAX_SHOWN = 12
# No column whose state words are not known is surer than this, whatever it is called.
UNKNOWN_WORDS_MOST = 0.5
# More names than this in one column are remarks, not channels.
_MAX_NAMES = 200
# Column names that say nothing, so that the file's name must.
_GENERIC = re.compile(
    r"(?i)\s*(value|reading|temp|temperature|data|state|status|channel( ?\d+)?|ch ?\d+|measurement|"
    r"signal|column \d+|series ?\d*|sensor ?\d*|probe ?\d*|input ?\d*)\s*"
)


@dataclass(frozen=True)
class ColumnLook:
    """One column: what it seems to be and what it holds.

    words : the state words of a state column; low, high : range of the numbers, in its own unit
    n_values, n_blank : cells with a value, without; odd : (text, how many) that are neither
    """

    name: str
    guess: ColumnGuess
    is_state: bool
    words: tuple[str, ...]
    low: float | None
    high: float | None
    n_values: int
    n_blank: int
    odd: tuple[tuple[str, int], ...]


def long_place(opened: OpenExport, rows: Rows, ts: Ints) -> tuple[int, int] | None:
    """The columns that name the channel and hold its value, if this is a file of one a line.

    ts : the readable instants of its rows
    """
    if opened.is_long:
        return long_columns(opened)
    place = guess_long(opened.dialect)
    if place is None or len(ts) == 0:
        return None
    names = rows.columns[place[0]]
    counts = np.bincount(names.indices.to_numpy(zero_copy_only=False))
    texts = names.dictionary.to_pylist()
    filled = {t: int(n) for t, n in zip(texts, counts, strict=False) if t.strip() and n}
    is_named = NAME_WORDS.search(opened.dialect.header[place[0]]) is not None
    repeats = len(ts) - len(np.unique(ts)) >= len(ts) / 2
    if not 2 <= len(filled) <= _MAX_NAMES or sum(filled.values()) < 0.95 * len(ts):
        return None
    if any(number_of(t, opened.dialect.decimal_sign) is not None for t in filled):
        return None
    return place if is_named or repeats else None


def column_looks(
    opened: OpenExport, rows: Rows, long: tuple[int, int] | None, zone_names: dict[str, int]
) -> tuple[ColumnLook, ...]:
    """A look at each column that is no time column, or at each channel of a long file."""
    looks = _long(opened, rows, long, zone_names) if long else _wide(opened, rows, zone_names)
    if any(c.guess.zone is not None and c.is_state for c in looks):
        looks = [replace(c, guess=_beside_zones(c)) for c in looks]
    return tuple(looks)


def in_context(path: str, columns: Sequence[ColumnLook], others: Sequence[str]) -> list[ColumnLook]:
    """The looks with what the file's own name, and the lack of another such column, say.

    others : names of all state columns in all the files, this one's too
    """
    stem = re.sub(r"(\.[A-Za-z]{2,4}){1,2}$", "", PurePosixPath(path).name)
    stem = re.sub(r"[_\-.]+", " ", stem)
    made = []
    for column in columns:
        guess = column.guess
        name = re.sub(r"[(\[].*?[)\]]", "", column.name)
        is_generic = _GENERIC.fullmatch(name) is not None
        about = guess_column(f"{stem} {column.name}", column.is_state)
        if is_generic and len(columns) == 1 and about.confidence > guess.confidence:
            guess = replace(about, reason=f"by the file's name: {about.reason}")
        elif guess.zone is None and about.zone is not None and guess.role in _ZONED:
            guess = replace(about, reason=f"by the file's name: {about.reason}")
        elif _is_bare_output(column) and sum(_plain(o) == _plain(name) for o in others) == 1:
            reason = f"{guess.reason}, the only one in these files"
            guess = replace(guess, confidence=max(guess.confidence, 0.8), reason=reason)
        if any(state_of(word) is None for word in column.words):
            guess = replace(guess, confidence=min(guess.confidence, UNKNOWN_WORDS_MOST))
        made.append(replace(column, guess=guess))
    return made


_ZONED = frozenset(
    {"zone_temp", "output_w1", "output_w2", "output_y1", "output_y2", "output_g", "output_ob"}
)


def _plain(name: str) -> str:
    return name.strip().casefold()


def _is_bare_output(column: ColumnLook) -> bool:
    return column.is_state and (column.guess.role or "").startswith("output_")


def _wide(opened: OpenExport, rows: Rows, zone_names: dict[str, int]) -> list[ColumnLook]:
    looks = []
    for number, name in enumerate(opened.dialect.header):
        if number in opened.dialect.time_columns:
            continue
        column = rows.columns[number]
        counts = np.bincount(
            column.indices.to_numpy(zero_copy_only=False), minlength=len(column.dictionary)
        )
        texts = [(t or "").strip() for t in column.dictionary.to_pylist()]
        looks.append(_column(name, texts, counts, opened.dialect.decimal_sign, zone_names))
    return looks


def _long(
    opened: OpenExport, rows: Rows, long: tuple[int, int], zone_names: dict[str, int]
) -> list[ColumnLook]:
    names, values = rows.columns[long[0]], rows.columns[long[1]]
    codes = names.indices.to_numpy(zero_copy_only=False)
    value_codes = values.indices.to_numpy(zero_copy_only=False)
    texts = [(t or "").strip() for t in values.dictionary.to_pylist()]
    unit_at = unit_column(opened.dialect)
    looks = []
    for number, text in enumerate(names.dictionary.to_pylist()):
        mine = codes == number
        name = (text or "").strip()
        if not name or not mine.any() or name == opened.dialect.header[long[0]]:
            continue
        counts = np.bincount(value_codes[mine], minlength=len(texts))
        shown = name
        if unit_at is not None:
            unit = rows.columns[unit_at].take(np.flatnonzero(mine)[:1]).to_pylist()[0]
            shown = f"{name} ({unit})"
        look = _column(shown, texts, counts, opened.dialect.decimal_sign, zone_names)
        looks.append(replace(look, name=name))
    return looks


def _are_words(real: dict[str, int]) -> bool:
    """Whether cells can only be states whose words are not known: two words, each many times."""
    if not 1 < len(real) <= THRESHOLDS["state_words_max"].value:
        return False
    return min(real.values()) > 1 and all(
        t[0].isalpha() and not any(map(str.isdigit, t)) for t in real
    )


def _guess(
    name: str, is_state: bool, zone_names: dict[str, int], unknown: tuple[str, ...], real: list[str]
) -> ColumnGuess:
    written = {with_unit(t)[1] for t in real} if not is_state else set()
    unit = written.pop() if len(written) == 1 else None
    if unit is not None and split_header(name)[1] is None:
        guess = guess_column(f"{name} ({unit})", is_state, zone_names)
        return replace(guess, reason=f"{guess.reason}; its cells name the unit")
    guess = guess_column(name, is_state, zone_names)
    if unknown:
        asked = " and ".join(repr(w) for w in unknown)
        reason = f"{guess.reason}; {asked}: not known whether on or off"
        return replace(guess, confidence=min(guess.confidence, UNKNOWN_WORDS_MOST), reason=reason)
    sample = real[:MAX_SHOWN]
    if guess.role is None and sample and all(text_kind(t) == "datetime" for t in sample):
        return replace(guess, role="ignore", confidence=0.9, reason="another date and time")
    return guess


def _beside_zones(column: ColumnLook) -> ColumnGuess:
    """A terminal's bare name beside columns of zones is the panel's output, not a zone's call."""
    guess = column.guess
    if guess.zone is None and _is_bare_output(column):
        reason = f"{guess.reason}, beside columns that name their zone"
        return replace(guess, confidence=max(guess.confidence, 0.85), reason=reason)
    return guess


def _column(
    name: str, texts: list[str], counts: Ints, decimal_sign: str, zone_names: dict[str, int]
) -> ColumnLook:
    # A header line repeated inside the file says nothing about the column.
    filled = {t: int(n) for t, n in zip(texts, counts, strict=True) if t and n and t != name}
    states = {t: n for t, n in filled.items() if state_of(t) is not None}
    real = {t: n for t, n in filled.items() if t.lower() not in ERROR_WORDS}
    words = {t.lower() for t in states}
    is_state = (
        bool(states)
        and sum(states.values()) >= THRESHOLDS["state_words_share"].value * sum(real.values())
        and len(words) <= THRESHOLDS["state_words_max"].value
    )
    unknown: tuple[str, ...] = ()
    if not is_state and _are_words(real):
        is_state, states = True, real
        unknown = tuple(sorted(t.lower() for t in real if state_of(t) is None))
        words = {t.lower() for t in real}
    numbers = {t: v for t in filled if (v := number_of(t, decimal_sign)) is not None}
    others = [v for v in numbers.values() if v not in ERROR_NUMBERS]
    if len(others) >= 3:  # a code stands apart from all that was measured
        low, high = min(others), max(others)
        codes = [t for t, v in numbers.items() if v in ERROR_NUMBERS and not low <= v <= high]
        numbers = {t: v for t, v in numbers.items() if t not in codes}
    good = states if is_state else numbers
    odd = sorted(((t, n) for t, n in filled.items() if t not in good), key=lambda x: (-x[1], x[0]))
    values = list(numbers.values()) if not is_state else []
    return ColumnLook(
        name=name,
        guess=_guess(name, is_state, zone_names, unknown, list(real)),
        is_state=is_state,
        words=tuple(sorted(words)) if is_state else (),
        low=min(values) if values else None,
        high=max(values) if values else None,
        n_values=sum(filled[t] for t in good),
        n_blank=int(sum(n for t, n in zip(texts, counts, strict=True) if not t)),
        odd=tuple(odd[:MAX_SHOWN]),
    )

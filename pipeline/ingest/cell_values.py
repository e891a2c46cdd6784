"""The values of one wide column, row by row, and its bad cells.

A column whose sampled cells are all plain numbers is cut into numbers at once; only its cells that
are none, or are error codes, are then looked at as texts. Every other column comes as its distinct
texts, each of which is read once. Both ways lead through `values.read_values`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.ingest.export_file import OpenExport
from pipeline.ingest.sniff import Dialect, cut
from pipeline.ingest.values import ERROR_WORDS, code_numbers, is_number, read_values
from pipeline.ingest.written_times import Flags, Ints
from pipeline.site import Channel, Site
from pipeline.thresholds import ERROR_NUMBERS, THRESHOLDS
from pipeline.units import UNITS

POWER_ON = "85.0 °C alone: what a one-wire sensor says when its power comes"
# More cells than this to look at as texts, and the column is better cut into texts at once.
_MAX_ODD_SHARE = 0.02
_MIN_ODD = 1_000


@dataclass
class CellValues:
    """What the cells of a column hold: value in the store unit (NaN: none), and bad cells.

    bad : numbers of the rows whose cell is neither blank nor a value, with texts and reasons
    every : whether each row holds a value
    """

    value: NDArray[np.float64]
    bad: Ints
    texts: list[str]
    reasons: list[str]
    every: bool


def is_plain_numbers(dialect: Dialect, place: int) -> bool:
    """Whether all sampled cells of a column are plain numbers, so that it may be cut as such."""
    if dialect.decimal_sign != "." or dialect.is_quoted or dialect.pads_short:
        return False
    cells = {row[place] for row in dialect.sample}
    return bool(cells) and all(is_number(c) or c.lower() in ERROR_WORDS for c in cells)


def words_for_null(dialect: Dialect, places: list[int]) -> list[str]:
    """Texts that stand for no number in such columns: blanks, error words, the header again."""
    words = {form for w in ERROR_WORDS for form in (w, w.upper(), w.capitalize())}
    return ["", *sorted(words), *dict.fromkeys(dialect.header[p] for p in places)]


def column_values(
    opened: OpenExport,
    column: pa.Array,
    line: Ints,
    place: int,
    channel: Channel,
    unit: str,
    missing: tuple[str, ...],
    site: Site,
) -> CellValues | None:
    """The values of a column; None if it is better cut into texts.

    column : numbers or dictionary-encoded texts; line : the physical line of each row
    """
    if isinstance(column, pa.DictionaryArray):
        found = _of_texts(opened.dialect, column, channel, unit, missing, site)
    else:
        numbers = _of_numbers(opened, column, line, place, channel, unit, missing, site)
        if numbers is None:
            return None
        found = numbers
    _drop_power_on(opened, found, line, place, channel, unit)
    return found


def _of_texts(
    dialect: Dialect,
    column: pa.DictionaryArray,
    channel: Channel,
    unit: str,
    missing: tuple[str, ...],
    site: Site,
) -> CellValues:
    values = read_values(column.dictionary, channel, unit, dialect.decimal_sign, missing, site)
    codes = column.indices.to_numpy(zero_copy_only=False)
    # Arrow's look-up takes a fifth of numpy's, as the codes are 32-bit.
    looked_up = pc.take(pa.array(values.value), column.indices, boundscheck=False)
    holds = _present(~np.isnan(values.value), codes)
    is_bad = np.array([r is not None for r in values.reason], bool) & ~holds
    bad = np.flatnonzero(is_bad[codes]) if is_bad.any() else np.array([], np.int64)
    return CellValues(
        looked_up.to_numpy(zero_copy_only=False),
        bad,
        column.take(pa.array(bad)).to_pylist() if len(bad) else [],
        [str(values.reason[int(codes[k])]) for k in bad],
        bool(holds.all()),
    )


def _of_numbers(
    opened: OpenExport,
    column: pa.Array,
    line: Ints,
    place: int,
    channel: Channel,
    unit: str,
    missing: tuple[str, ...],
    site: Site,
) -> CellValues | None:
    written = column.to_numpy(zero_copy_only=False)
    with np.errstate(over="ignore"):  # what is beyond any number is no reading, by its text
        value = written * UNITS[unit].scale + UNITS[unit].shift
    as_text = ~np.isfinite(value)
    role = channel.meaning
    if role.low is not None and role.high is not None:
        beyond = np.flatnonzero((value < role.low) | (value > role.high))
        as_text[beyond] |= np.isin(written[beyond], list(ERROR_NUMBERS))
    for code in code_numbers(missing):
        as_text |= written == code
    if channel.inverted:
        value = -value
    odd = np.flatnonzero(as_text)
    if len(odd) > max(_MIN_ODD, _MAX_ODD_SHARE * len(written)):
        return None
    if len(odd) == 0:
        return CellValues(value, odd, [], [], True)
    texts = _texts(opened, line[odd], place)
    values = read_values(pa.array(texts, pa.string()), channel, unit, ".", missing, site)
    value[odd] = values.value
    bad = [k for k, reason in enumerate(values.reason) if reason is not None]
    return CellValues(
        value,
        odd[bad],
        [texts[k] for k in bad],
        [str(values.reason[k]) for k in bad],
        not np.isnan(values.value).any(),
    )


def _texts(opened: OpenExport, lines: Ints, place: int) -> list[str]:
    """One column's cells on some lines."""
    dialect = opened.dialect
    rows = (
        cut(line, dialect.delimiter, dialect.is_quoted)
        for line in opened.text.lines(lines.tolist())
    )
    return [cells[place] if place < len(cells) else "" for cells in rows]


def _present(holds: Flags, codes: Ints) -> Flags:
    """Which distinct texts hold a value; those that no row has any more count as if they did.

    A header line again in the file leaves its names among the texts of every column.
    """
    without = np.flatnonzero(~holds)
    if len(without) > 8:  # looking for each would take longer than going through all
        return holds
    unseen = [k for k in without if not (codes == k).any()]
    holds = holds.copy()
    holds[unseen] = True
    return holds


def _drop_power_on(
    opened: OpenExport, found: CellValues, line: Ints, place: int, channel: Channel, unit: str
) -> None:
    """Take the lone readings of 85.0 °C (in the store unit 185 °F) out, as bad cells; in place."""
    if channel.meaning.dimension != "temperature" or unit != "degC":
        return
    near = np.flatnonzero(np.abs(found.value - 185.0) < 1e-6)
    if len(near) == 0:
        return
    row = np.flatnonzero(~np.isnan(found.value))
    value = found.value[row]
    at = np.searchsorted(row, near)
    at = at[(at > 0) & (at < len(row) - 1)]
    far = np.minimum(np.abs(value[at] - value[at - 1]), np.abs(value[at] - value[at + 1]))
    alone = row[at[far > THRESHOLDS["power_on_step_f"].value]]
    if len(alone) == 0:
        return
    found.value = found.value.copy()  # values taken from Arrow cannot be written to
    found.value[alone] = np.nan
    found.every = False
    found.bad = np.concatenate([found.bad, alone])
    found.texts += _texts(opened, line[alone], place)
    found.reasons += [POWER_ON] * len(alone)

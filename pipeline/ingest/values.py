"""Cell texts to numbers and states; each distinct text of a column is read once."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.channels import OFF_WORDS, ON_WORDS
from pipeline.ingest.columns import unit_of
from pipeline.site import Channel, Site
from pipeline.thresholds import ERROR_NUMBERS
from pipeline.units import UNITS

ERROR_WORDS = frozenset(
    {"err", "error", "err.", "ol", "o.l.", "---", "--", "-", "nan", "null", "none", "n/a", "na"}
    | {"#n/a", "fault", "fail", "bad", "short", "no data", "inf", "-inf"}
)
MINUS = "\N{MINUS SIGN}"
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_WITH_UNIT = re.compile(r"([+-]?[\d.,'\u2019\u00a0\u202f]*\d)\s*([°%\"A-Za-z℉℃][^\d]*)$")
# What may part the thousands, by the decimal sign: the other sign, blanks, an apostrophe.
_GROUP_SIGNS = {".": "[,'\u2019\u00a0\u202f ]", ",": "[.'\u2019\u00a0\u202f ]"}
_GROUPED = {
    ".": rf"^[+-]?[1-9]\d{{0,2}}({_GROUP_SIGNS['.']}\d{{3}})+(\.\d+)?$",
    ",": rf"^[+-]?[1-9]\d{{0,2}}({_GROUP_SIGNS[',']}\d{{3}})+(,\d+)?$",
}


@dataclass(frozen=True)
class Values:
    """What each distinct text means: a value (NaN: none), and why not (None: blank or a value)."""

    value: NDArray[np.float64]
    reason: list[str | None]
    units: tuple[str | None, ...] = ()


def read_values(
    texts: pa.Array,
    channel: Channel,
    unit: str,
    decimal_sign: str,
    missing: tuple[str, ...],
    site: Site,
) -> Values:
    """What the distinct texts of one column mean for a channel, in the store unit.

    texts : distinct cell texts
    unit : unit the logger writes, a name of units.UNITS
    missing : texts that stand for no reading, from the site file
    """
    values = _read(texts, channel, unit, decimal_sign, missing, site)
    if channel.inverted:
        turned = 1.0 - values.value if channel.meaning.kind == "state" else -values.value
        return Values(turned, values.reason)
    return values


def _read(
    texts: pa.Array,
    channel: Channel,
    unit: str,
    decimal_sign: str,
    missing: tuple[str, ...],
    site: Site,
) -> Values:
    """As read_values, before what the site file says is the other way round is turned."""
    if channel.meaning.kind == "state" and channel.form == "level" and channel.threshold is None:
        return _states(texts, channel, missing, site)
    values = _numbers(texts, decimal_sign, missing)
    if channel.meaning.kind == "state":
        _drop_error_numbers(values, channel)
        if channel.threshold is not None:
            known = ~np.isnan(values.value)
            on = np.where(values.value > channel.threshold, 1.0, 0.0)
            return Values(np.where(known, on, np.nan), values.reason)
        return values
    _drop_other_units(texts, values, unit)
    return _in_store_unit(texts, values, channel, unit)


def with_unit(text: str) -> tuple[str, str | None]:
    """The number and the unit of a cell such as '70.1 °F'; the text itself and None otherwise."""
    found = _WITH_UNIT.match(text)
    unit = unit_of(found.group(2)) if found is not None else None
    return (found.group(1), unit) if found is not None and unit is not None else (text, None)


def _drop_other_units(texts: pa.Array, values: Values, unit: str) -> None:
    """Take values out whose cell names another unit than the channel's; in place."""
    if not any(u is not None for u in values.units):
        return
    for k, written in enumerate(values.units):
        if written is not None and written != unit:
            values.value[k] = np.nan
            values.reason[k] = f"in {written}, the channel is in {unit}"


def number_of(text: str, decimal_sign: str) -> float | None:
    """The number that a cell holds, None if it is none."""
    plain = with_unit(text.strip().replace(MINUS, "-"))[0]
    if re.match(_GROUPED[decimal_sign], plain):
        plain = re.sub(_GROUP_SIGNS[decimal_sign], "", plain)
    plain = plain.replace(",", ".", 1) if decimal_sign == "," else plain
    return float(plain) if re.match(_NUMBER, plain) else None


def is_number(text: str) -> bool:
    """Whether a text is a plain number with a decimal point."""
    return re.match(_NUMBER, text) is not None


def code_numbers(missing: tuple[str, ...]) -> list[float]:
    """The numbers among the texts that stand for no reading, from the site file."""
    return [float(m) for m in missing if is_number(m.strip())]


def state_of(text: str) -> bool | None:
    """On, off or no known state word."""
    word = text.strip().lower()
    return True if word in ON_WORDS else False if word in OFF_WORDS else None


def _numbers(texts: pa.Array, decimal_sign: str, missing: tuple[str, ...]) -> Values:
    plain = pc.utf8_trim_whitespace(texts)
    units: tuple[str | None, ...] = ()
    if decimal_sign == ",":
        plain = _ungrouped(plain, decimal_sign)
        plain = pc.replace_substring(plain, ",", ".", max_replacements=1)
    try:
        value = pc.cast(plain, pa.float64()).to_numpy(zero_copy_only=False).copy()
    except pa.ArrowInvalid:
        plain = pc.replace_substring(_ungrouped(plain, decimal_sign), MINUS, "-")
        split = [with_unit(t or "") for t in plain.to_pylist()]
        units = tuple(u for _, u in split)
        if any(units):
            plain = _ungrouped(pa.array([t for t, _ in split], pa.string()), decimal_sign)
            if decimal_sign == ",":
                plain = pc.replace_substring(plain, ",", ".", max_replacements=1)
        good = pc.match_substring_regex(plain, _NUMBER)
        kept = pc.if_else(good, plain, pa.scalar(None, pa.string()))
        value = pc.cast(kept, pa.float64()).to_numpy(zero_copy_only=False).copy()
    value[~np.isfinite(value)] = np.nan
    reason: list[str | None] = [None] * len(texts)
    codes = {m.strip().lower() for m in missing}
    if numbers := code_numbers(missing):
        for k in np.flatnonzero(np.isin(value, numbers)):
            value[k] = np.nan
            reason[k] = "stands for no reading, by site.toml"
    for k in np.flatnonzero(np.isnan(value)):
        word = (plain[int(k)].as_py() or "").lower()
        if word == "" or reason[k] is not None:
            continue
        if word in codes:
            reason[k] = "stands for no reading, by site.toml"
        else:
            reason[k] = "error code" if word in ERROR_WORDS else "not a number"
    return Values(value, reason, units)


def _ungrouped(texts: pa.Array, decimal_sign: str) -> pa.Array:
    """Numbers without what parts their thousands."""
    grouped = pc.match_substring_regex(texts, _GROUPED[decimal_sign])
    if not pc.any(grouped).as_py():
        return texts
    bare = pc.replace_substring_regex(texts, _GROUP_SIGNS[decimal_sign], "")
    return pc.if_else(grouped, bare, texts)


def _drop_error_numbers(values: Values, channel: Channel) -> None:
    """Take error codes out of volts, amps and totals; in place."""
    # Nobody totals over three hours, and a threshold stands near what is measured.
    least = 9_999.0 if channel.form != "level" else max(abs(channel.threshold or 0) * 10, 600)
    with np.errstate(invalid="ignore"):
        wrong = np.isin(values.value, list(ERROR_NUMBERS)) & (
            (values.value < 0) | (values.value >= least)
        )
        beyond = np.zeros(len(values.value), bool)
        if channel.form != "level":
            beyond |= values.value < 0
        if channel.form == "percent_on":
            beyond |= values.value > 100
    if channel.form in ("count", "total"):
        wrong &= values.value < 0  # a counter may well stand at 9,999
    for k in np.flatnonzero(wrong | beyond):
        values.value[k] = np.nan
        values.reason[k] = "error code" if wrong[k] else _BEYOND[channel.form]


_BEYOND = {
    "percent_on": "not from 0 to 100 percent",
    "seconds_on": "less than no time",
    "count": "less than nothing",
    "total": "less than nothing",
}


def _in_store_unit(texts: pa.Array, values: Values, channel: Channel, unit: str) -> Values:
    written = values.value
    scale = UNITS[unit]
    with np.errstate(over="ignore"):
        value = written * scale.scale + scale.shift
    for k in np.flatnonzero(np.isinf(value)):
        value[k] = np.nan
        values.reason[k] = "not a number"  # 1e308 °C is beyond any in °F
    role = channel.meaning
    if role.low is not None and role.high is not None:
        with np.errstate(invalid="ignore"):
            beyond = (value < role.low) | (value > role.high)
        for k in np.flatnonzero(beyond & np.isin(written, list(ERROR_NUMBERS))):
            value[k] = np.nan
            values.reason[k] = "error code"
    return Values(value, values.reason)


def _states(texts: pa.Array, channel: Channel, missing: tuple[str, ...], site: Site) -> Values:
    on_words = {w.strip().lower() for w in channel.on}
    codes = {m.strip().lower() for m in missing}
    value = np.full(len(texts), np.nan)
    reason: list[str | None] = [None] * len(texts)
    for k, text in enumerate(texts.to_pylist()):
        word = (text or "").strip().lower()
        if word == "":
            continue
        if word in codes:
            reason[k] = "stands for no reading, by site.toml"
        elif word in on_words:
            value[k] = 1.0
        elif word in ERROR_WORDS:
            reason[k] = "error code"
        elif on_words:
            value[k] = 0.0
        elif channel.role == "fault_contact" and word in ("open", "closed"):
            # The contact's own words say nothing until it is known which of them is the alarm.
            alarm = site.equipment.fault_contact_alarm or "closed"
            value[k] = float(word == alarm)
        elif (state := state_of(word)) is not None:
            value[k] = float(state)
        else:
            reason[k] = "not a known state word"
    return Values(value, reason)

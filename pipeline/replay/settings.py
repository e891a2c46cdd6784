"""Which other settings a replay may try: parsed, held against the site file, refused if unsafe.

A limit is tried only in the direction that saves the equipment: nobody looks here for a way to
keep a system running that its limit stops.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from pipeline import words
from pipeline.errors import InputError
from pipeline.site import Site, Value
from pipeline.site_keys import SETTINGS, Wrong
from pipeline.thresholds import values_for


@dataclass(frozen=True)
class Setting:
    """A setting that can be replayed.

    title : in words; unit : as the setting's name says
    """

    name: str
    title: str
    unit: str


REPLAYED = (
    Setting("stage_up_delay_min", "stage-up delay", "min"),
    Setting("stage2_min_zones", "zones for second stage", ""),
    Setting("static_target_inwc", "static target", "inwc"),
    Setting("low_balance_f", "low balance point", "f"),
    Setting("high_balance_f", "high balance point", "f"),
    Setting("compressor_min_off_min", "compressor minimum-off", "min"),
    Setting("high_limit_f", "high limit", "f"),
    Setting("low_limit_f", "low limit", "f"),
)
BY_NAME = {s.name: s for s in REPLAYED}


def value_words(name: str, value: float, units: str) -> str:
    """A value of a setting as it is shown: '10 min', '0.45 in. w.c.', '2 zones'."""
    unit = BY_NAME[name].unit
    if unit == "min":
        return f"{value:g} min"
    if unit == "inwc":
        return words.static(value, units)
    if unit == "f":
        return words.temperature(value, units)
    return words.count(int(value), "zone")


MAX_VALUES = 6
"""Values of one setting in one replay: more is no small table any more."""
FIND_THE_CAUSE = "find the airflow or firing cause"


def asked_settings(site: Site, texts: Sequence[str]) -> dict[str, tuple[float, ...]]:
    """The values to try by setting, in the order asked, out of NAME=VALUE[,VALUE...].

    Raises InputError for a name or value that is none, for too many, and for what is unsafe.
    """
    if not texts:
        raise InputError(
            "nothing to replay",
            found="no --set",
            expected="--set NAME=VALUE[,VALUE...], such as --set stage2_min_zones=2,3",
            hint=f"settings that can be replayed: {', '.join(BY_NAME)}",
        )
    asked: dict[str, tuple[float, ...]] = {}
    for text in texts:
        name, equals, values = text.partition("=")
        name = name.strip()
        if name not in BY_NAME:
            near = get_close_matches(name, BY_NAME, n=1)
            raise InputError(
                "a setting that cannot be replayed",
                found=text,
                expected=f"{near[0]}=..." if near else f"one of {', '.join(BY_NAME)}",
            )
        if not equals or not values.strip():
            raise InputError(f"no value for {name}", found=text, expected=f"{name}=VALUE")
        tried = [_value(name, v) for v in values.split(",")]
        asked[name] = tuple(dict.fromkeys((*asked.get(name, ()), *tried)))
        if len(asked[name]) > MAX_VALUES:
            raise InputError(
                f"too many values of {name} for one table",
                found=f"{len(asked[name])} values",
                expected=f"{MAX_VALUES} or fewer",
            )
    for name, tried_values in asked.items():
        for value in tried_values:
            _refuse_unsafe(site, name, value)
    _refuse_crossed(site, asked)
    return asked


def present(site: Site, name: str) -> Value | None:
    """The setting as it stands now: the last one given; None if nobody gave it."""
    found = [value for n, value, _, end_ts in site.settings_in_force() if n == name and not end_ts]
    return found[-1] if found else None


def _value(name: str, text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        raise InputError(f"no value of {name}", found=text.strip(), expected="a number") from None
    try:
        SETTINGS[name](int(number) if number.is_integer() else number)
    except Wrong as wrong:
        raise InputError(f"no value of {name}", found=text.strip(), expected=str(wrong)) from None
    return number


def _refuse_unsafe(site: Site, name: str, value: float) -> None:
    now = present(site, name)
    is_known = isinstance(now, (int, float))
    if name in ("high_limit_f", "low_limit_f"):
        high = name == "high_limit_f"
        bound = float(now) if isinstance(now, (int, float)) else None
        if bound is None:
            raise InputError(
                f"{name} is not in site.toml, so it is not known which way is the safer one",
                file=site.path,
                found=f"{name}={value:g}",
                expected=f"{name} = ... under [settings], as found at the panel",
                hint=FIND_THE_CAUSE,
            )
        if value > bound if high else value < bound:
            raise InputError(
                "a raised high limit is not replayed" if high
                else "a lowered low limit is not replayed",
                found=f"{name}={value:g}; it is set to {bound:g}",
                expected=f"{bound:g} or {'lower' if high else 'higher'}",
                hint=FIND_THE_CAUSE,
            )  # fmt: skip
    elif name == "compressor_min_off_min":
        least = float(now) if isinstance(now, (int, float)) else _usual_min_off(site)
        if value < least:
            raise InputError(
                "a shorter compressor minimum-off is not replayed: it saves the compressor",
                found=f"{name}={value:g}; it is "
                + (f"set to {least:g}" if is_known else f"not given, so {least:g} at least"),
                expected=f"{least:g} or longer",
            )
    elif name == "static_target_inwc":
        rated = site.equipment.max_external_static_inwc
        if rated is not None and value > rated:
            raise InputError(
                "a target above the blower's rated static is not replayed",
                found=f"{name}={value:g}; the plate allows {rated:g}",
                expected=f"{rated:g} or lower",
                hint=FIND_THE_CAUSE,
            )


def _refuse_crossed(site: Site, asked: dict[str, tuple[float, ...]]) -> None:
    """A low balance point above the high one says nothing that a panel could do."""
    lows = asked.get("low_balance_f") or _known(site, "low_balance_f")
    highs = asked.get("high_balance_f") or _known(site, "high_balance_f")
    if not {"low_balance_f", "high_balance_f"} & set(asked) or not lows or not highs:
        return
    if max(lows) > min(highs):
        raise InputError(
            "the low balance point would stand above the high one",
            found=f"low {max(lows):g}, high {min(highs):g}",
            expected="low at or under high",
        )


def _known(site: Site, name: str) -> tuple[float, ...]:
    now = present(site, name)
    return (float(now),) if isinstance(now, (int, float)) else ()


def _usual_min_off(site: Site) -> float:
    return values_for(site.thresholds)["compressor_min_off_unknown_s"] / 60

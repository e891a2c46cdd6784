"""The replay that tests a cause on this log: the command, with values around what is set.

A cause names the setting it is about; here stands which other values of it are worth a try. Only
settings that are given are tried: what nobody read off at the panel has no other value yet.
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.findings._clocks import clocks
from pipeline.findings._site import SiteFrames

MORE_MIN = 5.0
MORE_INWC = 0.05
MORE_F = 5.0
REST_MIN = (2.0, 4.0)


def command(site: SiteFrames, names: str) -> str:
    """'zonetrail replay larch-14 --set stage2_min_zones=1,2,3'; '' where no setting is known.

    names : one setting, or several that act together, with a space between
    """
    sets = []
    for name in names.split():
        now = site.setting(name)
        values = _VALUES[name](site, now) if now is not None else []
        if values:
            sets.append(f"--set {name}={','.join(f'{v:.10g}' for v in values)}")
    # a review whose clocks were put right is replayed so too
    align = ["--align"] if any(c.applied_s for c in clocks(site)) else []
    return " ".join(["zonetrail replay", site.site.site_id, *align, *sets]) if sets else ""


def _zones(site: SiteFrames, now: float) -> list[float]:
    """The setting itself, too: a panel that does not follow it shows there."""
    most = len(site.site.zones) or 4
    return [float(n) for n in (1, 2, 3) if n <= most]


def _delay(site: SiteFrames, now: float) -> list[float]:
    """Shorter, too: a panel that is set so without the sheet saying it shows there."""
    return [now / 2, now + MORE_MIN]


def _target(site: SiteFrames, now: float) -> list[float]:
    """One step down, and one up as far as the plate allows."""
    plate = site.equipment.get("max_external_static_inwc")
    up = now + MORE_INWC
    tried = [now - MORE_INWC] if now > MORE_INWC else []
    return [*tried, up] if plate is None or up <= float(plate) else tried


def _low_point(site: SiteFrames, now: float) -> list[float]:
    high = site.setting("high_balance_f")
    return [v for v in (now - MORE_F, now + MORE_F) if high is None or v <= high - MORE_F]


def _high_point(site: SiteFrames, now: float) -> list[float]:
    low = site.setting("low_balance_f")
    return [v for v in (now - MORE_F, now + MORE_F) if low is None or v >= low + MORE_F]


def _rest(site: SiteFrames, now: float) -> list[float]:
    return [now + more for more in REST_MIN]


_VALUES: dict[str, Callable[[SiteFrames, float], list[float]]] = {
    "stage2_min_zones": _zones,
    "stage_up_delay_min": _delay,
    "static_target_inwc": _target,
    "low_balance_f": _low_point,
    "high_balance_f": _high_point,
    "compressor_min_off_min": _rest,
}

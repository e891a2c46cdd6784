"""The benchmark's results as lines of text, and as one picture of bars and growth."""

from __future__ import annotations

import math
from html import escape
from typing import Any

WIDTH, BAR, LEFT = 960, 17, 250
HUES = {"ours": "#0b5394", "ours, all stages": "#6fa8dc", "duckdb": "#b45f06", "polars": "#38761d"}
OTHER = "#741b47"
GOALS = {
    ("load", "year, clean", "duckdb"): 2.0,
    ("load", "year, dirty", "pandas"): 0.2,
    ("measures", "site-year", "pandas"): 1 / 6,
    ("measures", "site-year", "polars"): 1 / 1.5,
    ("fleet", "100 sites, a week", "pandas"): 1 / 30,
    ("fleet", "100 sites, a week", "polars"): 1 / 1.5,
}
"""Ours over the other, at the most."""


def summary(results: dict[str, Any]) -> str:
    """Ours over each other way, by the processor and by the clock, with what was aimed at."""
    lines = ["", "ours over the other (under 1: ours is faster)          CPU    clock   goal"]
    for part in ("load", "measures", "fleet"):
        for name, told in results.get(part, {}).items():
            for other, ratio in told["ours over"].items():
                goal = GOALS.get((part, name, other))
                aimed = (
                    ""
                    if goal is None
                    else f"{goal:.2f} {'met' if ratio['clock_s'] <= goal else 'not met'}"
                )
                label = f"{part} {name}: {other}"
                lines.append(f"{label:<52}{ratio['cpu_s']:7.2f} {ratio['clock_s']:7.2f}   {aimed}")
            peak = told["ways"]["ours"]["peak_mib"]
            lines.append(f"{part} {name}: ours at its peak {peak:.0f} MiB"
                         + (f", store {100 * told['store over csv']:.0f} % of its CSV"
                            if "store over csv" in told else ""))  # fmt: skip
    fleets = [
        (int(name.split()[0]), told["ways"]["ours"]["cpu_s"])
        for name, told in results.get("fleet", {}).items()
    ]
    if len(fleets) > 1:
        each = [s / n for n, s in fleets]
        lines.append(
            f"a site of {fleets[-1][0]} over one of {fleets[0][0]}: {each[-1] / each[0]:.2f}"
        )
    for name, told in results.get("whole", {}).items():
        lines.append(
            f"{name:<52}{told['cpu_s']:7.2f} {told['clock_s']:7.2f} s, {told['peak_mib']:.0f} MiB"
        )
    for name, told in results.get("growth", {}).items():
        e = told["exponents"]
        lines.append(
            f"growth with {name}: load {e['load_cpu_s']:.2f}, stages {e['stages_cpu_s']:.2f}"
        )
    return "\n".join(lines)


def picture(results: dict[str, Any]) -> str:
    """An SVG: seconds of the processor of every way as bars, then growth on logarithmic axes."""
    parts: list[str] = []
    y = 30
    for part in ("load", "measures", "fleet"):
        for name, told in results.get(part, {}).items():
            parts.append(
                f'<text x="10" y="{y}" font-weight="bold">{escape(f"{part}: {name}")}</text>'
            )
            high = max(w["cpu_s"] for w in told["ways"].values())
            for way, taken in told["ways"].items():
                y += BAR
                wide = (WIDTH - LEFT - 160) * taken["cpu_s"] / high
                parts.append(
                    f'<text x="{LEFT - 8}" y="{y}" text-anchor="end">{escape(way)}</text>'
                    f'<rect x="{LEFT}" y="{y - 11}" width="{max(wide, 1):.1f}" height="13" '
                    f'fill="{HUES.get(way, OTHER)}"/><text x="{LEFT + wide + 6:.1f}" y="{y}">'
                    f"{taken['cpu_s']:.2f} CPU s, {taken['peak_mib']:.0f} MiB</text>"
                )
            y += 2 * BAR
    growth = results.get("growth", {})
    for k, (name, told) in enumerate(growth.items()):
        parts.append(f'<g transform="translate({10 + k * 315} {y})">{_growth(name, told)}</g>')
    height = y + (270 if growth else 0)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'font-family="sans-serif" font-size="12" role="img"><title>Fast and small</title>'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>\n'
    )


def _growth(name: str, told: dict[str, Any]) -> str:
    """Seconds against size, both logarithmic; the grey line is in proportion."""
    rows = told["points"]
    xs = [math.log10(r["x"]) for r in rows]
    every = [math.log10(r[k]) for r in rows for k in ("load_cpu_s", "stages_cpu_s")]
    x0, x1, y0, y1 = min(xs), max(xs), min(every), max(every)

    def at(x: float, y: float) -> str:
        across = 40 + 250 * (x - x0) / ((x1 - x0) or 1)
        return f"{across:.1f},{220 - 180 * (y - y0) / ((y1 - y0) or 1):.1f}"

    parts = [
        f'<text x="40" y="14" font-weight="bold">CPU s against {escape(name)}</text>',
        '<path d="M40 30V220H295" fill="none" stroke="#444"/>',
        f'<text x="36" y="224" text-anchor="end">{10**y0:.2g}</text>'
        f'<text x="36" y="44" text-anchor="end">{10**y1:.2g}</text>',
        f'<text x="40" y="236">{10**x0:.3g}</text>'
        f'<text x="290" y="236" text-anchor="end">{10**x1:.3g}</text>',
    ]
    for k, (key, hue, label) in enumerate(
        (("load_cpu_s", "#b45f06", "load"), ("stages_cpu_s", "#0b5394", "all stages"))
    ):
        points = [(x, math.log10(r[key])) for x, r in zip(xs, rows, strict=True)]
        last = points[-1]
        back = min(last[0] - x0, last[1] - y0)  # as far as the axes go
        straight = (at(last[0] - back, last[1] - back), at(*last))
        parts.append(f'<polyline points="{" ".join(straight)}" fill="none" stroke="#bbb"/>')
        line = " ".join(at(*p) for p in points)
        parts.append(f'<polyline points="{line}" fill="none" stroke="{hue}" stroke-width="2"/>')
        said = f"{label}, exponent {told['exponents'][key]:.2f}"
        parts.append(f'<text x="{40 + 125 * k}" y="252" fill="{hue}">{said}</text>')
    inside = "".join(parts)
    return f'<svg width="310" height="260" viewBox="0 0 310 260">{inside}</svg>'

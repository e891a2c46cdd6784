"""The fleet benchmark as one picture: seconds a site, peak memory, and what a day more costs."""

from __future__ import annotations

import statistics
from html import escape
from typing import Any

WIDTH, HEIGHT, LEFT, BOTTOM, TOP = 300, 230, 46, 40, 34
HUES = ("#0b5394", "#b45f06", "#38761d", "#741b47")


def picture(results: dict[str, Any]) -> str:
    """An SVG of three panels side by side, medians over rounds."""
    builds = [r for r in results["runs"] if r["what"] == "build" and r["days"] == 7]
    panels = [
        _bars("CPU s per site, one week", builds, lambda r: r["cpu_s"] / r["sites"]),
        _bars("Peak memory of a process, MB", builds, _peak_mb),
        _days([r for r in results["runs"] if r["days"] != 7]),
    ]  # fmt: skip
    body = "".join(
        f'<g transform="translate({n * (WIDTH + 20)} 0)">{panel}</g>'
        for n, panel in enumerate(panels)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {3 * WIDTH + 40} {HEIGHT}" '
        f'font-family="sans-serif" font-size="11" role="img"><title>Cost of a fleet</title>'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{body}</svg>\n'
    )


def _bars(title: str, runs: list[dict[str, Any]], of: Any) -> str:
    sizes = sorted({r["sites"] for r in runs})
    jobs = sorted({r["jobs"] for r in runs})
    told = [
        (f"{n:,}", [(f"{j} job{'s' * (j > 1)}", _median([of(r) for r in runs
         if r["sites"] == n and r["jobs"] == j])) for j in jobs])
        for n in sizes
    ]  # fmt: skip
    return _panel(title, "sites", told)


def _days(runs: list[dict[str, Any]]) -> str:
    jobs = sorted({r["jobs"] for r in runs})
    told = [
        (what, [(f"{j} job{'s' * (j > 1)}", _median([r["cpu_s"] for r in runs
         if r["what"] == key and r["jobs"] == j])) for j in jobs])
        for key, what in (("build", "28 days"), ("day added", "a day more"),
                          ("week ended", "a day that ends a week"), ("nothing new", "nothing new"))
    ]  # fmt: skip
    sites = runs[0]["sites"] if runs else 0
    return _panel(f"CPU s, {sites:,} sites of 28 days", "", told if runs else [])


def _peak_mb(run: dict[str, Any]) -> float:
    return float(max(run["peak_mb"], run["worker_peak_mb"]))


def _median(values: list[float]) -> float:
    return statistics.median(values) if values else 0.0


def _panel(title: str, axis: str, groups: list[tuple[str, list[tuple[str, float]]]]) -> str:
    high = max((v for _, bars in groups for _, v in bars), default=0.0) or 1.0
    room, depth = WIDTH - LEFT, HEIGHT - BOTTOM - TOP
    parts = [
        f'<text x="{LEFT}" y="16" font-weight="bold">{escape(title)}</text>',
        f'<line x1="{LEFT}" x2="{WIDTH}" y1="{HEIGHT - BOTTOM}" y2="{HEIGHT - BOTTOM}" '
        'stroke="#444"/>',
    ]
    step = room / max(len(groups), 1)
    for g, (label, bars) in enumerate(groups):
        wide = step * 0.7 / max(len(bars), 1)
        for b, (name, value) in enumerate(bars):
            x = LEFT + g * step + step * 0.15 + b * wide
            tall = depth * value / high
            y = HEIGHT - BOTTOM - tall
            parts.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide * 0.9:.1f}" height="{tall:.1f}" '
                f'fill="{HUES[b % len(HUES)]}"><title>{escape(name)}</title></rect>'
                f'<text x="{x + wide * 0.45:.1f}" y="{y - 3:.1f}" text-anchor="middle">'
                f"{value:.3g}</text>"
            )
            if g == 0:
                parts.append(
                    f'<text x="{LEFT + b * 70}" y="{HEIGHT - 6}" fill="{HUES[b % len(HUES)]}">'
                    f"{escape(name)}</text>"
                )
        parts.append(
            f'<text x="{LEFT + (g + 0.5) * step:.1f}" y="{HEIGHT - BOTTOM + 14}" '
            f'text-anchor="middle">{escape(label)} {axis if g == len(groups) - 1 else ""}</text>'
        )
    return "".join(parts)

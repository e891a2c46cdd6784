"""Figures of days and sites in a technician's words, with units."""

from __future__ import annotations

from pipeline import words
from pipeline.unusual.features import Feature


def figure(feature: Feature, value: float, units: str = "us") -> str:
    """One figure with its unit: '5.1 h', '0.52 in. w.c.', '14'."""
    if feature.unit == "h":
        return f"{value:.1f} h"
    if feature.unit == "s":
        return f"{round(value)} s"
    if feature.unit == "°F":
        return words.temperature(value, units)
    if feature.unit == "difference":
        return words.temperature_difference(value, units)
    if feature.unit == "in. w.c.":
        return words.static(value, units)
    if feature.unit == "°F h":
        return f"{words.temperature_difference(value, units)} h"
    return f"{round(value)}"


def span(feature: Feature, low: float, high: float, units: str = "us") -> str:
    """Lowest to highest with the unit said once: '1.2 to 1.9 h'."""
    first, last = figure(feature, low, units), figure(feature, high, units)
    if first == last:
        return first
    return f"{first.split(' ', 1)[0]} to {last}"

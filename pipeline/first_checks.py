"""The order in which checks and cautions are told: one for the terminal and the ticket."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.result import Finding


def in_order(findings: Sequence[Finding]) -> list[Finding]:
    """The worst of the house, what the verdict says first of the log, the rest, the log's notes.

    findings : in a result's order
    What is wrong with the log itself is put right first, but the house is why someone goes: its
    worst finding is not pushed aside by it.
    """
    house = [f for f in findings if f.about == "installation"]
    loud = [f for f in findings if f.about == "log" and f.severity != "note"]
    notes = [f for f in findings if f.about == "log" and f.severity == "note"]
    return [*house[:1], *loud, *house[1:], *notes]


def first_checks(findings: Sequence[Finding], most: int) -> list[str]:
    """What to check first: the house's worst finding, what the log asks for second.

    Where the verdict opens with the log, one thing to do about it stands behind the first check of
    the house, whatever else there is; without a finding of the house the log's own checks.
    """
    if not findings:
        return []
    head, *others = in_order(findings)
    loud = [f for f in others if f.about == "log" and f.severity != "note"]
    made = [*head.checks[:1], *(c for f in loud for c in f.checks[:1]), *head.checks[1:]]
    return list(dict.fromkeys(made))[:most]


def first_cautions(findings: Sequence[Finding], most: int) -> list[str]:
    """The cautions of the house's worst finding first: a finding of the log has none."""
    return list(dict.fromkeys(c for f in in_order(findings) for c in f.cautions))[:most]

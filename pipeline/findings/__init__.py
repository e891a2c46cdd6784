"""Findings: what the measures of one site mean, in a technician's words.

Every module here whose name has no leading underscore is one finding; its code is its file name
with - for _. Adding one is adding a file with `FINDING = Declaration(...)` and
`judge(site) -> Found | NotFound | CannotTell`, and its test.

    site = SiteFrames(site=info, window=span, tables=frames, thresholds=numbers, units="us")
    findings, judged = judge_site(site)
    head = verdict(findings, judged, site)

`tables_needed()` names the tables to hand over; `NOT_LOOKED_AT` names what no rule looks at.
"""

from pipeline.findings._base import NOT_LOOKED_AT
from pipeline.findings._judge import Rule, judge_rules, judge_site, rules, tables_needed
from pipeline.findings._site import SiteFrames
from pipeline.findings._verdict import verdict

__all__ = [
    "NOT_LOOKED_AT",
    "Rule",
    "SiteFrames",
    "judge_rules",
    "judge_site",
    "rules",
    "tables_needed",
    "verdict",
]

"""zonetrail: from a zone system's logger exports to evidence.

The flow, one way only:

exports -> ingest (sniff, timestamps, columns, rows, load) -> site.duckdb
site.duckdb -> stages in sql/ and pipeline/measures, in the order of their numbers
stages -> findings (found, not found, or cannot tell) -> result.SiteResult
SiteResult -> reports/ (pages never open the store) and review.json

`pipeline/` imports nothing from `reports/`; only `pipeline/cli/` joins the two.
"""

__version__ = "0.1.0"

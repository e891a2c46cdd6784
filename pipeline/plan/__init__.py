"""What to log on a site so that a question can be answered at all: `zonetrail plan`.

    plan = make_plan(site, asked=("high-limit-trips", "static"), logged=logged_channels(site))

- `questions.py`: what can be asked, from the findings' declarations and the measures
- `intervals.py`: the slowest interval that still answers each, and why
- `installed.py`: which channels this equipment has at all
- `probes.py`: where each probe goes, and what stays unknown without it
- `sheet.py`: the form of facts to read off at plate, panel and thermostats
- `logged.py`: what a site's store already holds
- `make.py`: all of it together, as one `record.Plan`; `say.py`: as text and as JSON
"""

from pipeline.plan.logged import logged_channels
from pipeline.plan.make import make_plan
from pipeline.plan.record import Plan

__all__ = ["Plan", "logged_channels", "make_plan"]

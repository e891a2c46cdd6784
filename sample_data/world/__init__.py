"""A simulated world of zone systems whose truth is known to the second.

    from sample_data import world
    for system in world.catalogue("tuning"):      # descriptions, nothing simulated yet
        print(system.name, system.condition, system.severity, system.seed, system.part)
        facts = world.make_site(system, folder)   # site.toml and exports/ into folder
        facts["labels"]["must"]                   # finding codes that must be reported

Systems of the part *reporting* are only made inside `with world.reporting_run():`.
"""

from sample_data.world.catalogue import (
    OtherPart,
    catalogue,
    combined,
    healthy,
    odd,
    reporting_run,
    with_condition,
)
from sample_data.world.make import made, make_site, record, truth
from sample_data.world.system import System

__all__ = [
    "OtherPart",
    "System",
    "catalogue",
    "combined",
    "healthy",
    "made",
    "make_site",
    "odd",
    "record",
    "reporting_run",
    "truth",
    "with_condition",
]

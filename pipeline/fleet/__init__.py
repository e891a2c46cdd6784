"""A fleet of sites: loaded, judged week by week, ranked; kept in fleet.duckdb.

`run.run_fleet` makes the record that `pipeline.fleet_result` describes; nothing is imported here.
"""

-- one row per combination of class, source, stage and calling zones: the hours behind every rate
/*
definition = "Seconds in each combination of class, source, stage and calling zones: the hours behind every rate."
needs = ["outputs", "calls of every zone"]
resolution = "one interval at each change"
interval_max_s = 60
counted_from = ["output_", "inferred_", "zone_call_"]
source = "ours: rates are told in the state that can show the event"

[columns]
class = "VARCHAR | - | heating, cooling, waiting (fan on, a call stands, nothing heats or cools), purge, fan_only, off, unknown"
source = "VARCHAR | - | burner, strip, compressor, both or null"
stage = "INTEGER | - | 0, 1, 2"
n_zones = "BIGINT | - | zones calling in the mode that runs"
zones = "VARCHAR | - | which"
s = "DOUBLE | s | time, visits included"
outside_visit_s = "DOUBLE | s | time, visits left out"
*/
select
    site_id,
    class,
    source,
    stage,
    n_zones,
    zones,
    sum(end_ts - start_ts)::double / 1e6 as s,
    coalesce(sum(end_ts - start_ts) filter (not in_visit), 0)::double / 1e6 as outside_visit_s,
from interval.condition
group by site_id, class, source, stage, n_zones, zones
order by site_id, class, source, stage, n_zones, zones

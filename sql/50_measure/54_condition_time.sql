-- one row per combination of class, source, stage and calling zones: the hours behind every rate
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

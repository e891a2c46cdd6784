-- one row per call of a zone for one mode as the panel's clocks see it: short breaks bridged
/*
holds = "broken for less than the bridge time is one call"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating, cooling or unknown"
start_ts = "BIGINT | us | first call begins"
end_ts = "BIGINT | us | last call ends"
*/
select site_id, zone, mode, min(start_ts) as start_ts, max(end_ts) as end_ts
from (
    select *, sum(is_new) over (partition by site_id, zone, mode order by start_ts) as call_id
    from (
        select
            k.*,
            coalesce(
                k.start_ts - lag(k.end_ts) over (
                    partition by k.site_id, k.zone, k.mode order by k.start_ts
                ) >= t.call_bridge_s * 1e6,
                true
            )::int as is_new,
        from interval.call k
        join run.threshold t on t.site_id = k.site_id
    )
)
group by site_id, zone, mode, call_id
order by site_id, zone, mode, start_ts

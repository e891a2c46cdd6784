-- one row per stretch in which a damper was shown the other way than its zone's call asks, while heating or cooling ran
/*
holds = "judged from the dampers' travel and half a minute after the run or the zone's call began; a relief zone may stand open, idle dampers anywhere"

[columns]
zone = "INTEGER | - | zone"
channel_id = "INTEGER | - | channel.channel: which damper of the zone"
mode = "VARCHAR | - | heating or cooling"
kind = "VARCHAR | - | did not open (its zone calls), or did not close (only others do, and it is no relief zone)"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length"
in_visit = "BOOLEAN | - | its run touches a visit"
*/
with

judged as (
    select
        r.*,
        r.start_ts + (1e6 * (
            coalesce(g.value, t.damper_travel_unknown_s) + t.damper_settle_allowance_s
        ))::bigint as from_ts,
    from interval.zone_run r
    join run.zone z on z.site_id = r.site_id and z.zone = r.zone
    join run.threshold t on t.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'damper_travel_s'
        and g.start_ts <= r.start_ts and g.end_ts > r.start_ts
    where r.damper is not null and (r.is_calling or not z.is_relief)
),

-- looked up by the day both lie in: of a long log not every pair is tried
judged_day as (
    select *, unnest(range(from_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
    from judged
),

damper_day as (
    select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
    from signal.state
    where role = 'zone_damper'
)

select
    j.site_id,
    j.zone,
    s.channel_id,
    j.mode,
    if(j.is_calling, 'did not open', 'did not close') as kind,
    greatest(s.start_ts, j.from_ts) as start_ts,
    least(s.end_ts, j.end_ts) as end_ts,
    (least(s.end_ts, j.end_ts) - greatest(s.start_ts, j.from_ts)) / 1e6 as length_s,
    j.in_visit,
from judged_day j
join damper_day s
    on s.site_id = j.site_id and s.zone = j.zone and s.day_n = j.day_n
    and s.is_on <> j.is_calling
    and s.start_ts < j.end_ts and s.end_ts > j.from_ts
    and j.day_n = greatest(s.start_ts, j.from_ts) // 86400000000
order by j.site_id, j.zone, s.channel_id, greatest(s.start_ts, j.from_ts)

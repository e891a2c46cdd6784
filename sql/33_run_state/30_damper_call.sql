-- one row per stretch in which a zone whose calls were not logged is taken to call, by its damper
/*
holds = "only zones that the site file does not use for relief, at a site that names some zone for it; stretches of one zone do not overlap; nothing is told of the time before equipment starts"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling: what ran meanwhile"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
interval_s = "DOUBLE | s | slower of the damper's and the outputs' intervals"
*/
-- While something heats or cools, a panel opens the dampers of zones that call and closes the
-- others, but for relief: the damper of a zone that may relieve static says nothing of its calls.
-- At rest dampers stay as they were, so a call is told only while something runs.
with

logged as (
    select
        s.site_id,
        coalesce(s.ob_energised_in, 'cooling') as ob_energised_in,
        s.has_heat_pump,
        coalesce(bool_or(c.role = 'output_ob'), false) as has_ob,
    from run.site s
    left join channel.channel c on c.site_id = s.site_id and c.is_primary
    group by all
),

zone as (
    select z.site_id, z.zone
    from run.zone z
    where
        not z.is_relief
        and z.site_id in (from run.zone select site_id where is_relief)
        and not exists (
            from channel.channel c
            where
                c.site_id = z.site_id
                and c.zone = z.zone
                and c.role like 'zone_call_%'
                and c.role <> 'zone_call_g'
        )
),

ob as (
    select site_id, start_ts, end_ts, is_on from channel.state where role = 'output_ob'
),

-- what ran, by mode: outputs, and where they do not tell, what supply air shows
ran as (
    select s.site_id, 'heating' as mode, s.start_ts, s.end_ts
    from channel.state s
    where s.role in ('output_w1', 'output_aux') and s.is_on
    union all
    select y.site_id, 'cooling', y.start_ts, y.end_ts
    from channel.state y
    join logged l on l.site_id = y.site_id
    where y.role = 'output_y1' and y.is_on and not l.has_heat_pump
    union all
    select
        y.site_id,
        if(o.is_on = (l.ob_energised_in = 'heating'), 'heating', 'cooling'),
        greatest(y.start_ts, o.start_ts),
        least(y.end_ts, o.end_ts),
    from channel.state y
    join logged l on l.site_id = y.site_id
    join ob o on o.site_id = y.site_id and o.start_ts < y.end_ts and o.end_ts > y.start_ts
    where y.role = 'output_y1' and y.is_on and l.has_heat_pump and l.has_ob
    union all
    select site_id, state, start_ts, end_ts
    from run_state.inferred_state
    where state in ('heating', 'cooling') and not is_told
),

opened as (
    select s.site_id, s.zone, s.start_ts, s.end_ts, c.interval_s
    from channel.state s
    join zone z on z.site_id = s.site_id and z.zone = s.zone
    join channel.channel c on c.site_id = s.site_id and c.channel_id = s.channel_id
    where s.role = 'zone_damper' and s.is_on
),

part as (
    select
        o.site_id,
        o.zone,
        r.mode,
        greatest(o.start_ts, r.start_ts) as start_ts,
        least(o.end_ts, r.end_ts) as end_ts,
        o.interval_s,
    from opened o
    join ran r on r.site_id = o.site_id and r.start_ts < o.end_ts and r.end_ts > o.start_ts
),

-- several dampers or sources at once, and short breaks, are one call
joined as (
    select
        p.*,
        coalesce(p.start_ts > t.call_bridge_s * 1e6 + max(p.end_ts) over (
            partition by p.site_id, p.zone, p.mode order by p.start_ts, p.end_ts
            rows between unbounded preceding and 1 preceding
        ), true)::int as is_new,
    from part p
    join run.threshold t on t.site_id = p.site_id
),

call as (
    select
        site_id,
        zone,
        mode,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        max(interval_s) as interval_s,
    from (
        select *, sum(is_new) over (partition by site_id, zone, mode order by start_ts, end_ts) as call_id
        from joined
    )
    group by site_id, zone, mode, call_id
),

output as (
    select site_id, max(interval_s) as interval_s
    from (
        select site_id, interval_s
        from channel.channel
        where is_primary and role in ('output_w1', 'output_y1', 'output_aux')
        union all
        select site_id, interval_s from run_state.inferred_state
    )
    group by site_id
)

select
    c.site_id,
    c.zone,
    c.mode,
    c.start_ts,
    c.end_ts,
    greatest(c.interval_s, o.interval_s) as interval_s,
from call c
join output o on o.site_id = c.site_id
order by c.site_id, c.zone, c.start_ts

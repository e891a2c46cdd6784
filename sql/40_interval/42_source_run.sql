-- one row per run of a heat or cooling source: burner, strip or compressor
-- W of a furnace is a burner, of a heat pump strip heat. Y heats or cools by O/B, read after Y has
-- been on for the settling time (a shorter run is read at its end, if O/B did not change in it);
-- where O/B is not logged, by the calls; else it cannot be told.
with

named as (
    select
        r.*,
        case
            when r.output = 'output_y1' then 'compressor'
            when r.output = 'output_w1' and i.has_burner then 'burner'
            else 'strip'
        end as source,
        i.has_heat_pump,
        coalesce(i.ob_energised_in, 'cooling') as ob_energised_in,
        least(r.start_ts + (t.ob_settle_s * 1e6)::bigint, r.end_ts - 1) as read_ts,
        r.end_ts - r.start_ts > t.ob_settle_s * 1e6 as is_settled,
    from interval.output_run r
    join run.site i on i.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
    where
        r.output = 'output_y1'
        or (r.output = 'output_w1' and i.has_burner)
        or r.output = 'output_aux'
        or (
            r.output = 'output_w1'
            and not i.has_burner
            and not exists (
                from signal.state a where a.site_id = r.site_id and a.role = 'output_aux'
            )
        )
),

valve as (
    select site_id, start_ts, end_ts, is_on
    from signal.state
    where role = 'output_ob'
),

has_valve as (select distinct site_id from valve),

-- calls standing at the instant the mode is read, for systems without O/B in the log
standing as (
    select
        n.site_id,
        n.start_ts,
        bool_or(s.role in ('zone_call_w1', 'zone_call_w2')) as any_heat,
        bool_or(s.role in ('zone_call_y1', 'zone_call_y2') and z.thermostat = 'conventional') as any_cool,
    from named n
    join signal.state s
        on s.site_id = n.site_id
        and s.is_on
        and s.role like 'zone_call_%'
        and s.start_ts <= n.read_ts
        and s.end_ts > n.read_ts
    join run.zone z on z.site_id = s.site_id and z.zone = s.zone
    where n.source = 'compressor' and n.has_heat_pump
    group by n.site_id, n.start_ts
)

select
    n.site_id,
    n.source,
    case
        when n.source <> 'compressor' then 'heating'
        when not n.has_heat_pump then 'cooling'
        when h.site_id is not null and v.is_on is null then 'unknown'
        when h.site_id is not null
            then if(v.is_on = (n.ob_energised_in = 'heating'), 'heating', 'cooling')
        when s.any_heat and not s.any_cool then 'heating'
        when s.any_cool and not s.any_heat then 'cooling'
        else 'unknown'
    end as mode,
    n.start_ts,
    n.end_ts,
    n.on_s,
    n.has_start,
    n.has_end,
    n.is_closed,
    n.n_chatter,
    case
        when n.has_start and lag(n.has_end) over (partition by n.site_id, n.source order by n.start_ts)
            then (n.start_ts - lag(n.end_ts) over (partition by n.site_id, n.source order by n.start_ts)) / 1e6
    end as rest_before_s,
    exists (
        from run.visit x
        where x.site_id = n.site_id and x.start_ts < n.end_ts and x.end_ts > n.start_ts
    ) as in_visit,
from named n
left join has_valve h on h.site_id = n.site_id
left join valve v
    on v.site_id = n.site_id
    and v.start_ts <= n.read_ts
    and v.end_ts > n.read_ts
    and (n.is_settled or v.start_ts <= n.start_ts)
left join standing s on s.site_id = n.site_id and s.start_ts = n.start_ts
order by n.site_id, n.source, n.start_ts

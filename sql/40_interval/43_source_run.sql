-- one row per run of a heat or cooling source: burner, strip or compressor
/*
holds = "burner is W1 of a furnace; strip is W or aux of a heat pump; compressor is Y1"

[columns]
source = "VARCHAR | - | burner, strip or compressor; heat: inferred, and which cannot be told (always so of dual fuel)"
mode = "VARCHAR | - | heating, cooling or unknown (O/B and calls do not tell)"
start_ts = "BIGINT | us | on"
end_ts = "BIGINT | us | off"
on_s = "DOUBLE | s | time on"
has_start = "BOOLEAN | - | start seen"
has_end = "BOOLEAN | - | end seen"
is_closed = "BOOLEAN | - | both seen"
n_chatter = "BIGINT | - | short offs bridged"
rest_before_s = "DOUBLE | s | off time since the source's previous run, if it is known to have been off throughout"
in_visit = "BOOLEAN | - | touches a visit"
is_inferred = "BOOLEAN | - | no output was logged: the equipment's run, read off supply and return temperature"
*/
-- W of a furnace is a burner, of a heat pump strip heat. Y heats or cools by O/B, read after Y has
-- been on for the settling time (a shorter run is read at its end, if O/B did not change in it);
-- where O/B does not tell, by the calls; else it cannot be told.
with

-- which source made most of an inferred run
made_by as (
    select
        r.site_id,
        r.output,
        r.start_ts,
        arg_max(i.source, least(i.end_ts, r.end_ts) - greatest(i.start_ts, r.start_ts)) as source,
    from interval.output_run r
    join run_state.inferred_state i
        on i.site_id = r.site_id and i.start_ts < r.end_ts and i.end_ts > r.start_ts
    where r.output = 'inferred_heat' and i.state = 'heating'
    group by r.site_id, r.output, r.start_ts
),

named as (
    select
        r.*,
        case
            -- supply air alone parts furnace and compressor too poorly to give either a figure
            when r.output = 'inferred_heat' and i.has_burner and i.has_heat_pump then 'heat'
            when r.output = 'inferred_heat' then coalesce(m.source, 'heat')
            when r.output in ('output_y1', 'inferred_cool') then 'compressor'
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
    left join made_by m on m.site_id = r.site_id and m.output = r.output and m.start_ts = r.start_ts
    where
        r.output in ('output_y1', 'inferred_heat', 'inferred_cool')
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

-- calls standing at the instant the mode is read
standing as (
    select
        n.site_id,
        n.start_ts,
        bool_or(c.mode = 'heating') as any_heat,
        bool_or(c.mode = 'cooling') as any_cool,
    from named n
    join interval.call c on c.site_id = n.site_id and c.start_ts <= n.read_ts and c.end_ts > n.read_ts
    where n.output = 'output_y1' and n.has_heat_pump
    group by n.site_id, n.start_ts
),

-- the off time right before a run, as far back as it was seen
off_before as (
    select site_id, role as output, start_ts as off_ts, end_ts as on_ts
    from signal.state
    where
        not is_on
        and role in ('output_w1', 'output_y1', 'output_aux', 'inferred_heat', 'inferred_cool')
)

select
    n.site_id,
    n.source,
    case
        when n.output = 'inferred_cool' then 'cooling'
        when n.output = 'inferred_heat' or n.source <> 'compressor' then 'heating'
        when not n.has_heat_pump then 'cooling'
        when v.is_on is not null
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
    -- known only if that off time reaches back to the run before: across a gap it may have run
    case
        when lag(n.end_ts) over (partition by n.site_id, n.source order by n.start_ts) = o.off_ts
            then (n.start_ts - o.off_ts) / 1e6
    end as rest_before_s,
    exists (
        from run.visit x
        where x.site_id = n.site_id and x.start_ts < n.end_ts and x.end_ts > n.start_ts
    ) as in_visit,
    coalesce(n.is_inferred, false) as is_inferred,
from named n
left join valve v
    on v.site_id = n.site_id
    and v.start_ts <= n.read_ts
    and v.end_ts > n.read_ts
    and (n.is_settled or v.start_ts <= n.start_ts)
left join off_before o on o.site_id = n.site_id and o.output = n.output and o.on_ts = n.start_ts
left join standing s on s.site_id = n.site_id and s.start_ts = n.start_ts
order by n.site_id, n.source, n.start_ts

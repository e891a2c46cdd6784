-- one row per figure: how much of the window had every channel it needs, and how fine they are
/*
definition = "Valid time of all channels that a figure needs at once, over the window. Under the warning share a figure carries a warning, under the least share there is no figure."
needs = []
resolution = "resolution_s is the slowest interval among the channels used"
source = "ours: no figure without its coverage"

[columns]
figure = "VARCHAR | - | output_w1 ... , trips, static, rise, recirculation, staging, calls, outdoor, fan, conditions"
window_s = "DOUBLE | s | length of the window"
valid_s = "DOUBLE | s | time in which all needed channels hold at once"
coverage = "DOUBLE | share | valid_s / window_s; 0 when a channel is missing"
resolution_s = "DOUBLE | s | slowest interval among the channels"
missing = "VARCHAR | - | roles that are needed and not logged, comma separated; '' if none"
*/
-- A site has a row for each output it logs, whatever other sites of the batch log.
with

-- what each figure rests on; `is_required` channels must exist, others count where they are logged
rests_on as (
    select unnest([
        {'figure': 'trips', 'pattern': 'supply_temp', 'is_required': true},
        {'figure': 'trips', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'trips', 'pattern': 'zone_call_%', 'is_required': true},
        {'figure': 'trips', 'pattern': 'fan', 'is_required': true},
        {'figure': 'cut_outs', 'pattern': 'supply_temp', 'is_required': true},
        {'figure': 'cut_outs', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'cut_outs', 'pattern': 'fan', 'is_required': true},
        {'figure': 'static', 'pattern': 'static_pressure', 'is_required': true},
        {'figure': 'static', 'pattern': 'fan', 'is_required': true},
        {'figure': 'rise', 'pattern': 'supply_temp', 'is_required': true},
        {'figure': 'rise', 'pattern': 'return_temp', 'is_required': true},
        {'figure': 'rise', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'rise', 'pattern': 'fan', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'supply_temp', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'return_temp', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'zone_temp', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'zone_call_%', 'is_required': true},
        {'figure': 'recirculation', 'pattern': 'fan', 'is_required': true},
        {'figure': 'staging', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'staging', 'pattern': 'zone_call_%', 'is_required': true},
        {'figure': 'outputs', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'calls', 'pattern': 'zone_call_%', 'is_required': true},
        {'figure': 'outdoor', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'outdoor', 'pattern': 'outdoor_temp', 'is_required': true},
        {'figure': 'fan', 'pattern': 'fan', 'is_required': true},
        {'figure': 'conditions', 'pattern': 'output_%', 'is_required': true},
        {'figure': 'conditions', 'pattern': 'zone_call_%', 'is_required': true},
        {'figure': 'conditions', 'pattern': 'fan', 'is_required': true}
    ], recursive := true)
),

figure as (
    -- inferred runs of the equipment stand in for outputs where only what ran is asked
    select
        w.site_id,
        r.figure,
        r.pattern,
        r.is_required,
        if(r.figure in ('outputs', 'conditions') and r.pattern = 'output_%', 'inferred_%', null) as or_pattern,
    from run.window w
    cross join rests_on r
    union all
    select distinct site_id, role, role, true, null
    from signal.coverage
    where role like 'output_%' or role like 'inferred_%'
),

-- the fan is no channel of its own: its gaps are what its source left open
fan_edge as (
    select f.site_id, f.end_ts as start_ts, lead(f.start_ts) over (partition by f.site_id order by f.start_ts) as end_ts
    from run_state.fan f
    union all
    select w.site_id, w.start_ts, coalesce(min(f.start_ts), w.end_ts)
    from run.window w
    left join run_state.fan f on f.site_id = w.site_id
    group by w.site_id, w.start_ts, w.end_ts
    union all
    select f.site_id, max(f.end_ts), any_value(w.end_ts)
    from run_state.fan f
    join run.window w on w.site_id = f.site_id
    group by f.site_id
),

-- inferred states are known where a stretch says so
inferred_edge as (
    select
        s.site_id,
        s.role,
        s.end_ts as start_ts,
        coalesce(lead(s.start_ts) over (partition by s.site_id, s.role order by s.start_ts), w.end_ts) as end_ts,
    from signal.state s
    join run.window w on w.site_id = s.site_id
    where s.is_inferred
    union all
    select s.site_id, s.role, w.start_ts, min(s.start_ts)
    from signal.state s
    join run.window w on w.site_id = s.site_id
    where s.is_inferred
    group by s.site_id, s.role, w.start_ts
),

gap as (
    select site_id, role, start_ts, end_ts from trust.gap
    union all
    select site_id, role, start_ts, end_ts from inferred_edge where end_ts > start_ts
    union all
    select e.site_id, 'fan', greatest(e.start_ts, w.start_ts), least(e.end_ts, w.end_ts)
    from fan_edge e
    join run.window w on w.site_id = e.site_id
    where least(e.end_ts, w.end_ts) > greatest(e.start_ts, w.start_ts)
),

channel as (
    select site_id, role, interval_s from signal.coverage
    union all
    -- the fan is as fine as what it was read from
    select f.site_id, 'fan', max(c.interval_s)
    from (select distinct site_id, source from run_state.fan) f
    left join signal.coverage c
        on c.site_id = f.site_id
        and (
            c.role = f.source
            or (
                f.source = 'outputs'
                and c.role in ('output_w1', 'output_y1', 'output_aux', 'output_g')
            )
        )
    group by f.site_id
),

needed as (
    select
        f.site_id,
        f.figure,
        f.pattern,
        f.is_required,
        max(c.interval_s) as interval_s,
        count(c.role) as n_channel,
    from figure f
    left join channel c
        on c.site_id = f.site_id and (c.role like f.pattern or c.role like f.or_pattern)
    group by f.site_id, f.figure, f.pattern, f.is_required
),

summed as (
    select
        site_id,
        figure,
        max(interval_s) as resolution_s,
        coalesce(string_agg(
            replace(pattern, '_%', ''), ', ' order by pattern
        ) filter (n_channel = 0 and is_required), '') as missing,
    from needed
    group by site_id, figure
),

-- union of the gaps of all channels of a figure: each starts where nothing before reaches
open_gap as (
    select distinct g.site_id, f.figure, g.start_ts, g.end_ts
    from gap g
    join figure f on f.site_id = g.site_id and (g.role like f.pattern or g.role like f.or_pattern)
),

new_gap as (
    select
        *,
        coalesce(start_ts > max(end_ts) over (
            partition by site_id, figure order by start_ts, end_ts
            rows between unbounded preceding and 1 preceding
        ), true)::int as is_new,
    from open_gap
),

joined_gap as (
    select site_id, figure, max(end_ts) - min(start_ts) as length_us
    from (
        select *, sum(is_new) over (partition by site_id, figure order by start_ts, end_ts) as gap_id
        from new_gap
    )
    group by site_id, figure, gap_id
),

lost as (
    select site_id, figure, sum(length_us)::double / 1e6 as lost_s
    from joined_gap
    group by site_id, figure
)

select
    s.site_id,
    s.figure,
    (w.end_ts - w.start_ts) / 1e6 as window_s,
    if(s.missing <> '', 0, (w.end_ts - w.start_ts) / 1e6 - coalesce(l.lost_s, 0)) as valid_s,
    if(s.missing <> '', 0, 1 - coalesce(l.lost_s, 0) / nullif((w.end_ts - w.start_ts) / 1e6, 0)) as coverage,
    s.resolution_s,
    s.missing,
from summed s
join run.window w on w.site_id = s.site_id
left join lost l on l.site_id = s.site_id and l.figure = s.figure
order by s.site_id, s.figure

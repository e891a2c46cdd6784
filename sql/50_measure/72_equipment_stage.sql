-- one row per burner run in which W2 never was on and the calls stood long enough for the furnace to stage itself
/*
definition = "In a burner run with W2 off, outputs, calls and dampers unchanged: the instant, some minutes after W1, at which static has stepped up most from one side to the other. A step of static together with one of supply is the furnace going to its second stage by itself; it is repeatable when most runs show it at nearly the same time after W1."
needs = ["W1 and W2 outputs", "supply static", "supply temperature"]
resolution = "one interval of the static channel; a step is told from means on both sides of it"
interval_max_s = 60
counted_from = ["supply_temp", "static_pressure", "output_", "inferred_"]
not_without = [["output_w1"], ["output_w2"], ["static_pressure"]]
source = "times and least steps: run.threshold"

[columns]
start_ts = "BIGINT | us | W1 on"
looked_until_ts = "BIGINT | us | until then calls, outputs and dampers were unchanged"
step_ts = "BIGINT | us | where static steps up most; null if it was not known there"
step_after_s = "DOUBLE | s | how long after W1"
static_step_inwc = "DOUBLE | in. w.c. | mean after it less mean before it"
supply_step_f = "DOUBLE | °F | rise of supply over the same time, less the drift before it; null if not logged"
is_step = "BOOLEAN | - | both steps are large enough"
is_repeatable = "BOOLEAN | - | a step, at nearly the time after W1 at which most runs of the site that were looked at for long enough have theirs"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- A damper that closes makes static step up too; so nothing is looked at beyond a damper's edge.
with

-- where W2 is not logged, nobody says that the panel did not ask
logged as (
    select site_id
    from channel.channel
    where role in ('output_w2', 'static_pressure') and is_primary
    group by site_id
    having count(distinct role) = 2
),

-- looked up by the days both lie in: of a long log not every pair is tried
beside as (
    select distinct r.site_id, r.start_ts
    from (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.source_run
        where source = 'burner'
    ) r
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.output_run
        where output in ('output_w2', 'output_y1')
    ) o
        on o.site_id = r.site_id and o.day_n = r.day_n and o.start_ts < r.end_ts and o.end_ts > r.start_ts
),

alone as (
    select r.site_id, r.start_ts, r.end_ts, r.in_visit
    from interval.source_run r
    join logged l on l.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
    where
        r.source = 'burner'
        and r.has_start
        and r.end_ts - r.start_ts >= (t.equipment_stage_min_s + t.equipment_stage_mean_s) * 1e6
        and (r.site_id, r.start_ts) not in (select (site_id, start_ts) from beside)
),

-- steady until a call or a damper changes, from when a step could come
change as (
    select site_id, unnest([start_ts, end_ts]) as ts from interval.call
    union
    select site_id, start_ts from signal.state where role = 'zone_damper'
),

looked as (
    select
        a.site_id,
        a.start_ts,
        a.in_visit,
        least(
            a.end_ts,
            coalesce(c.ts, a.end_ts),
            a.start_ts + (1e6 * (a.equipment_stage_max_s + a.equipment_stage_mean_s))::bigint
        ) as until_ts,
        a.from_ts,
    from (
        select
            a.*,
            t.equipment_stage_max_s,
            t.equipment_stage_mean_s,
            a.start_ts + (1e6 * (t.equipment_stage_min_s - t.equipment_stage_mean_s))::bigint as from_ts,
        from alone a
        join run.threshold t on t.site_id = a.site_id
    ) a
    asof left join change c on c.site_id = a.site_id and a.from_ts < c.ts
),

long_enough as (
    select l.*
    from looked l
    join run.threshold t on t.site_id = l.site_id
    where l.until_ts - l.start_ts >= (t.equipment_stage_min_s + t.equipment_stage_mean_s) * 1e6
),

reading as (
    select
        l.site_id,
        l.start_ts,
        p.start_ts as ts,
        p.start_value as inwc,
        (t.equipment_stage_mean_s * 1e6)::bigint as mean_us,
        l.start_ts + (t.equipment_stage_min_s * 1e6)::bigint as first_ts,
        l.until_ts - (t.equipment_stage_mean_s * 1e6)::bigint as last_ts,
    from signal.piece p
    asof join long_enough l on l.site_id = p.site_id and p.start_ts >= l.start_ts
    join run.threshold t on t.site_id = p.site_id
    where p.role = 'static_pressure' and p.start_ts >= l.from_ts and p.start_ts < l.until_ts
),

stepped as (
    select
        *,
        avg(inwc) over after - avg(inwc) over before as step_inwc,
    from reading
    window
        before as (
            partition by site_id, start_ts order by ts range between mean_us preceding and 1 preceding
        ),
        after as (
            partition by site_id, start_ts order by ts range between current row and mean_us following
        )
),

highest as (
    select
        site_id,
        start_ts,
        arg_max(ts, step_inwc) as step_ts,
        max(step_inwc) as step_inwc,
        any_value(mean_us) as mean_us,
    from stepped
    where ts >= first_ts and ts <= last_ts and step_inwc is not null
    group by site_id, start_ts
),

-- supply climbs with the burner anyway: what it did as long before is taken off
warmed as (
    select
        h.site_id,
        h.start_ts,
        max(p.start_value) filter (p.start_ts > h.step_ts)
            - arg_max(p.start_value, p.start_ts) filter (p.start_ts <= h.step_ts) as climb_f,
        arg_max(p.start_value, p.start_ts) filter (p.start_ts <= h.step_ts)
            - arg_min(p.start_value, p.start_ts) filter (p.start_ts <= h.step_ts) as drift_f,
    from (
        select
            *,
            unnest(range((step_ts - mean_us) // 86400000000, (step_ts + 2 * mean_us) // 86400000000 + 1))
                as day_n,
        from highest
    ) h
    join long_enough l on l.site_id = h.site_id and l.start_ts = h.start_ts
    join signal.piece p
        on p.site_id = h.site_id and p.role = 'supply_temp'
        and p.start_ts // 86400000000 = h.day_n
        and p.start_ts >= h.step_ts - h.mean_us and p.start_ts <= least(h.step_ts + 2 * h.mean_us, l.until_ts)
    group by h.site_id, h.start_ts
),

found as (
    select
        l.site_id,
        l.start_ts,
        l.until_ts,
        l.in_visit,
        h.step_ts,
        (h.step_ts - l.start_ts) / 1e6 as step_after_s,
        h.step_inwc,
        w.climb_f - greatest(w.drift_f, 0) as supply_step_f,
        coalesce(
            h.step_inwc >= t.equipment_stage_step_inwc
                and w.climb_f - greatest(w.drift_f, 0) >= t.equipment_stage_step_f,
            false
        ) as is_step,
        t.equipment_stage_spread_s,
        t.equipment_stage_min_runs,
        t.equipment_stage_share,
    from long_enough l
    join run.threshold t on t.site_id = l.site_id
    left join highest h on h.site_id = l.site_id and h.start_ts = l.start_ts
    left join warmed w on w.site_id = l.site_id and w.start_ts = l.start_ts
),

usual as (
    select site_id, median(step_after_s) as usual_s
    from found
    where is_step and not in_visit
    group by site_id
),

-- of the runs that were looked at beyond the usual time, how many step there
repeated as (
    select
        f.site_id,
        any_value(u.usual_s) as usual_s,
        count(*) filter (f.is_step and abs(f.step_after_s - u.usual_s) <= f.equipment_stage_spread_s) as n_step,
        count(*) as n_run,
    from found f
    join usual u on u.site_id = f.site_id
    join run.threshold t on t.site_id = f.site_id
    where
        not f.in_visit
        and (f.until_ts - f.start_ts) / 1e6 >= u.usual_s + t.equipment_stage_spread_s + t.equipment_stage_mean_s
    group by f.site_id
)

select
    f.site_id,
    f.start_ts,
    f.until_ts as looked_until_ts,
    f.step_ts,
    f.step_after_s,
    f.step_inwc as static_step_inwc,
    f.supply_step_f,
    f.is_step,
    coalesce(
        f.is_step
            and abs(f.step_after_s - r.usual_s) <= f.equipment_stage_spread_s
            and r.n_step >= f.equipment_stage_min_runs
            and r.n_step >= f.equipment_stage_share * r.n_run,
        false
    ) as is_repeatable,
    f.in_visit,
from found f
left join repeated r on r.site_id = f.site_id
order by f.site_id, f.start_ts

-- one row per linear piece of supply static inside one condition, in (site_id, start_ts) order
/*
holds = "the fan's state is known"

[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
start_inwc = "DOUBLE | in. w.c. | static at the start"
end_inwc = "DOUBLE | in. w.c. | static at the end"
fan_on = "BOOLEAN | - | blower running"
class = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | interval.condition"
zones = "VARCHAR | - | interval.condition"
is_settled = "BOOLEAN | - | dampers have had time to travel"
in_visit = "BOOLEAN | - | inside a visit"
target_inwc = "DOUBLE | in. w.c. | target in force; null if not given"
above_s = "DOUBLE | s | time above the target, the sensor's noise averaged out"
above_low_s = "DOUBLE | s | of it for certain: neither noise nor what lies between two readings can undo it"
above_high_s = "DOUBLE | s | time above at most"
measured_above_s = "DOUBLE | s | time above the target as measured: readings joined by straight lines"
above_margin_s = "DOUBLE | s | time above the target plus the finding's margin, noise averaged out"
above_more_s = "DOUBLE | s | time above the target plus static_over_more_inwc, noise averaged out"
above_far_s = "DOUBLE | s | time above the target plus static_over_far_inwc, noise averaged out"
area_inwc_s = "DOUBLE | in. w.c. s | static over the target, over time, as measured"
start_steady_inwc = "DOUBLE | in. w.c. | static at the start, noise averaged out"
end_steady_inwc = "DOUBLE | in. w.c. | static at the end, noise averaged out"
*/
-- Pieces are cut where conditions change and where dampers have had time to travel, so that every
-- second belongs to one class, stage and set of calling zones. Time above the target is told from the
-- steadied level (signal.static_steady; the readings where there is none). Between two readings it is a
-- straight line; over a step that stands alone it is the one level and then the other, changing in the middle: a line
-- from a standing fan's zero to a running one's level would stand above a low target for too long.
--
-- A fan state that is read at an interval, or off static itself, says "on" up to an interval late; static
-- over the target in that interval shows that the fan ran, and is counted with what follows.
with

steadied as (
    select
        p.site_id,
        p.start_ts,
        p.end_ts,
        p.start_value,
        p.end_value,
        coalesce(a.inwc, p.start_value) as start_steady,
        coalesce(b.inwc, p.end_value) as end_steady,
        coalesce(a.doubt_inwc, 0) as start_doubt,
        coalesce(b.doubt_inwc, 0) as end_doubt,
        a.ts is not null
            and abs(end_steady - start_steady)
                > greatest(t.static_jump_inwc, 3 * t.static_steady_sigmas * a.noise_inwc) as is_far,
        (p.start_ts + p.end_ts) // 2 as mid_ts,
    from signal.piece p
    join run.threshold t on t.site_id = p.site_id
    left join signal.static_steady a on a.site_id = p.site_id and a.ts = p.start_ts
    left join signal.static_steady b on b.site_id = p.site_id and b.ts = p.end_ts
    where p.role = 'static_pressure'
),

-- static that moves on the same way before or after, by a quarter as much or more, is on its way, as a
-- damper's travel takes it, where readings are close enough to see that: a straight line follows it
piece as (
    select
        s.*,
        s.is_far
            and not coalesce(
                3 * (s.end_ts - s.start_ts) <= t.damper_travel_unknown_s * 1e6
                and (
                    lag(s.end_ts) over w = s.start_ts
                    and 4 * (lag(s.end_steady - s.start_steady) over w) / (s.end_steady - s.start_steady) >= 1
                    or lead(s.start_ts) over w = s.end_ts
                    and 4 * (lead(s.end_steady - s.start_steady) over w) / (s.end_steady - s.start_steady) >= 1
                ),
                false
            ) as is_jump,
    from steadied s
    join run.threshold t on t.site_id = s.site_id
    window w as (partition by s.site_id order by s.start_ts)
),

cut as (
    select site_id, start_ts as ts from interval.condition
    union
    select site_id, settled_ts
    from interval.condition
    where settled_ts > start_ts and settled_ts < end_ts
    union
    select site_id, mid_ts from piece where is_jump
),

-- few pieces are cut: only those are looked up
cut_piece as (
    select c.site_id, p.start_ts, list(c.ts order by c.ts) as cuts
    from cut c
    asof join piece p on p.site_id = c.site_id and c.ts >= p.start_ts
    where c.ts > p.start_ts and c.ts < p.end_ts
    group by c.site_id, p.start_ts
),

bounded as (
    select
        *,
        (from_ts - start_ts) / (end_ts - start_ts) as from_frac,
        (until_ts - start_ts) / (end_ts - start_ts) as until_frac,
    from (
        select
            p.*,
            unnest(if(k.cuts is null, [p.start_ts], list_prepend(p.start_ts, k.cuts))) as from_ts,
            unnest(if(k.cuts is null, [p.end_ts], list_append(k.cuts, p.end_ts))) as until_ts,
        from piece p
        left join cut_piece k on k.site_id = p.site_id and k.start_ts = p.start_ts
    )
),

part as (
    select
        site_id,
        from_ts as start_ts,
        until_ts as end_ts,
        start_value + (end_value - start_value) * from_frac as start_inwc,
        start_value + (end_value - start_value) * until_frac as end_inwc,
        case
            when not is_jump then start_steady + (end_steady - start_steady) * from_frac
            when from_ts < mid_ts then start_steady
            else end_steady
        end as start_steady_inwc,
        case
            when not is_jump then start_steady + (end_steady - start_steady) * until_frac
            when from_ts < mid_ts then start_steady
            else end_steady
        end as end_steady_inwc,
        least(start_steady - start_doubt, end_steady - end_doubt) as low_inwc,
        greatest(start_steady + start_doubt, end_steady + end_doubt) as high_inwc,
    from bounded
),

-- the next start of the fan after a stop, and how late a sampled state may have told it
fan_start as (
    select c.site_id, c.start_ts, c.class, c.stage, c.n_zones, c.zones, c.in_visit, i.late_us
    from (
        select *, lag(fan_on) over (partition by site_id order by start_ts) as fan_on_before
        from interval.condition
    ) c
    join (
        select site_id, (max(interval_s) * 1e6)::bigint as late_us
        from channel.channel
        where
            is_primary
            and is_sampled
            and (
                role in ('blower_run', 'output_g')
                or (
                    role = 'static_pressure'
                    and site_id in (select site_id from run_state.fan where source = 'static_pressure')
                )
            )
        group by site_id
    ) i on i.site_id = c.site_id
    where c.fan_on and not c.fan_on_before
),

stood as (
    select
        p.*,
        c.fan_on,
        c.class,
        c.stage,
        c.n_zones,
        c.zones,
        c.in_visit,
        c.settled_ts,
        g.value as target_inwc,
    from part p
    asof left join interval.condition c on c.site_id = p.site_id and p.start_ts >= c.start_ts
    left join run.setting g
        on g.site_id = p.site_id and g.name = 'static_target_inwc'
        and g.start_ts <= p.start_ts and g.end_ts > p.start_ts
),

early as (
    select p.site_id, p.start_ts, f.class, f.stage, f.n_zones, f.zones, f.in_visit
    from (
        select site_id, start_ts, end_ts
        from stood
        where not fan_on and least(start_steady_inwc, end_steady_inwc) > target_inwc
    ) p
    asof join fan_start f on f.site_id = p.site_id and p.end_ts <= f.start_ts
    where f.start_ts - p.end_ts < f.late_us
),

placed as (
    select
        p.* exclude (fan_on, class, stage, n_zones, zones, in_visit, settled_ts),
        n.start_ts is not null as is_early,
        is_early or p.fan_on as fan_on,
        if(is_early, n.class, p.class) as class,
        if(is_early, n.stage, p.stage) as stage,
        if(is_early, n.n_zones, p.n_zones) as n_zones,
        if(is_early, n.zones, p.zones) as zones,
        not is_early and p.start_ts >= coalesce(p.settled_ts, 0) as is_settled,
        coalesce(if(is_early, n.in_visit, p.in_visit), false) as in_visit,
        p.target_inwc + t.static_finding_over_inwc as margin_inwc,
        p.target_inwc + t.static_over_more_inwc as more_inwc,
        p.target_inwc + t.static_over_far_inwc as far_inwc,
    from stood p
    join run.threshold t on t.site_id = p.site_id
    left join early n on n.site_id = p.site_id and n.start_ts = p.start_ts
)

select
    site_id,
    start_ts,
    end_ts,
    start_inwc,
    end_inwc,
    fan_on,
    class,
    stage,
    n_zones,
    zones,
    is_settled,
    in_visit,
    target_inwc,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_steady_inwc, end_steady_inwc) <= target_inwc then 0
        when least(start_steady_inwc, end_steady_inwc) > target_inwc then 1
        else (greatest(start_steady_inwc, end_steady_inwc) - target_inwc) / abs(end_steady_inwc - start_steady_inwc)
    end as above_s,
    least(above_s, (end_ts - start_ts) / 1e6 * (low_inwc > target_inwc)::int) as above_low_s,
    greatest(above_s, (end_ts - start_ts) / 1e6 * (high_inwc > target_inwc)::int) as above_high_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_inwc, end_inwc) <= target_inwc then 0
        when least(start_inwc, end_inwc) > target_inwc then 1
        else (greatest(start_inwc, end_inwc) - target_inwc) / abs(end_inwc - start_inwc)
    end as measured_above_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_steady_inwc, end_steady_inwc) <= margin_inwc then 0
        when least(start_steady_inwc, end_steady_inwc) > margin_inwc then 1
        else (greatest(start_steady_inwc, end_steady_inwc) - margin_inwc) / abs(end_steady_inwc - start_steady_inwc)
    end as above_margin_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_steady_inwc, end_steady_inwc) <= more_inwc then 0
        when least(start_steady_inwc, end_steady_inwc) > more_inwc then 1
        else (greatest(start_steady_inwc, end_steady_inwc) - more_inwc) / abs(end_steady_inwc - start_steady_inwc)
    end as above_more_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_steady_inwc, end_steady_inwc) <= far_inwc then 0
        when least(start_steady_inwc, end_steady_inwc) > far_inwc then 1
        else (greatest(start_steady_inwc, end_steady_inwc) - far_inwc) / abs(end_steady_inwc - start_steady_inwc)
    end as above_far_s,
    -- a triangle where it crosses, its height over the target and its base the time above
    case
        when least(start_inwc, end_inwc) > target_inwc
            then (end_ts - start_ts) / 1e6 * ((start_inwc + end_inwc) / 2 - target_inwc)
        else measured_above_s * greatest(0, greatest(start_inwc, end_inwc) - target_inwc) / 2
    end as area_inwc_s,
    start_steady_inwc,
    end_steady_inwc,
from placed
where end_ts > start_ts and fan_on is not null
order by site_id, start_ts

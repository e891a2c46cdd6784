-- one row per excursion of supply static over its target while the blower runs
/*
holds = "starts above target, ends below target less the hysteresis for its time"

[columns]
start_ts = "BIGINT | us | crosses the target upwards"
end_ts = "BIGINT | us | falls below and stays"
length_s = "DOUBLE | s | length"
above_s = "DOUBLE | s | time above target within"
max_inwc = "DOUBLE | in. w.c. | highest reading"
max_ts = "BIGINT | us | when"
target_inwc = "DOUBLE | in. w.c. | target in force at the start"
class = "VARCHAR | - | class that holds most of it"
stage = "INTEGER | - | stage that holds most of it"
zones = "VARCHAR | - | zones calling for most of it"
n_zones = "BIGINT | - | how many"
n_relief = "BIGINT | - | relief dampers of zones that did not call, opened in it"
counts = "BOOLEAN | - | lasts long enough to count, began with dampers settled or outlasted their travel"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- Told from the steadied level, as time above is; the peak is the highest reading.
-- Starts where static crosses the target upwards; ends where it falls below the target less the
-- hysteresis and stays there for its time, where the fan stops, or where the log has a gap.
with

piece as (
    select
        p.*,
        p.target_inwc - t.static_excursion_end_inwc as low_inwc,
        t.static_excursion_end_s,
    from (
        select
            *,
            lag(end_ts) over () as end_before_ts,
            lag(site_id) over () is not distinct from site_id as has_before,
            has_before and end_before_ts is not distinct from start_ts as joins_before,
            has_before and coalesce(lag(end_steady_inwc > target_inwc) over (), false) as was_above,
        from interval.static_piece
        where fan_on and target_inwc is not null
    ) p
    join run.threshold t on t.site_id = p.site_id
),

-- the part of each piece below target less hysteresis
low_part as (
    select
        site_id,
        static_excursion_end_s,
        case
            when start_steady_inwc < low_inwc then start_ts
            else start_ts + ((end_ts - start_ts) * (start_steady_inwc - low_inwc) / (start_steady_inwc - end_steady_inwc))::bigint
        end as start_ts,
        case
            when end_steady_inwc < low_inwc then end_ts
            else start_ts + ((end_ts - start_ts) * (low_inwc - start_steady_inwc) / (end_steady_inwc - start_steady_inwc))::bigint
        end as end_ts,
    from piece
    where least(start_steady_inwc, end_steady_inwc) < low_inwc
),

-- those that touch, if together they last long enough to end an excursion
low_run as (
    select site_id, start_ts
    from (
        -- where one begins the one before has ended
        select
            b.site_id,
            b.start_ts,
            coalesce(lead(b.end_before_ts) over (partition by b.site_id order by b.start_ts), l.last_end_ts) as end_ts,
            b.static_excursion_end_s,
        from (
            select *, lag(end_ts) over (partition by site_id order by start_ts) as end_before_ts from low_part
        ) b
        join (select site_id, max(end_ts) as last_end_ts from low_part group by site_id) l on l.site_id = b.site_id
        where b.end_before_ts is distinct from b.start_ts
    )
    where end_ts - start_ts >= static_excursion_end_s * 1e6
),

event as (
    -- crosses the target upwards inside the piece, or stands above it after a stop, a gap or a new target
    select
        site_id,
        case
            when start_steady_inwc <= target_inwc
                then start_ts + ((end_ts - start_ts) * (target_inwc - start_steady_inwc) / (end_steady_inwc - start_steady_inwc))::bigint
            else start_ts
        end as ts,
        'up' as what,
    from piece
    where
        (start_steady_inwc <= target_inwc and end_steady_inwc > target_inwc)
        or (start_steady_inwc > target_inwc and not (joins_before and was_above))
    union all
    select site_id, start_ts, 'end' from low_run
    union all
    -- the fan stops or the log has a gap
    select site_id, end_before_ts, 'end'
    from piece
    where has_before and not joins_before
    union all
    select site_id, max(end_ts), 'end' from piece group by site_id
),

paired as (
    select
        site_id,
        ts as start_ts,
        what,
        lag(what) over w as what_before,
        min(if(what = 'end', ts, null)) over (
            partition by site_id order by ts, what
            rows between 1 following and unbounded following
        ) as end_ts,
    from event
    window w as (partition by site_id order by ts, what)
),

excursion as (
    select site_id, start_ts, end_ts
    from paired
    where what = 'up' and coalesce(what_before, 'end') = 'end' and end_ts > start_ts
),

inside as (
    select
        e.site_id,
        e.start_ts as excursion_ts,
        e.end_ts as excursion_end_ts,
        p.*exclude (site_id),
    from interval.static_piece p
    asof join excursion e on e.site_id = p.site_id and p.end_ts > e.start_ts
    where p.start_ts < e.end_ts and p.fan_on
),

weighed as (
    select
        site_id,
        excursion_ts,
        class,
        stage,
        zones,
        n_zones,
        sum(above_s) as above_s,
    from inside
    group by site_id, excursion_ts, class, stage, zones, n_zones
    qualify row_number() over (
        partition by site_id, excursion_ts order by sum(above_s) desc, class, stage, zones
    ) = 1
),

total as (
    select
        site_id,
        excursion_ts as start_ts,
        any_value(excursion_end_ts) as end_ts,
        sum(above_s) as above_s,
        sum(above_s) filter (is_settled) as settled_above_s,
        max(greatest(
            if(start_ts >= excursion_ts, start_inwc, null),
            if(end_ts <= excursion_end_ts, end_inwc, null)
        )) as max_inwc,
        -- the end of the piece that lies inside the excursion and stands higher; the first of equals
        arg_max(
            if(
                start_ts < excursion_ts or (end_ts <= excursion_end_ts and end_inwc > start_inwc),
                end_ts,
                start_ts
            ),
            greatest(
                if(start_ts >= excursion_ts, start_inwc, null),
                if(end_ts <= excursion_end_ts, end_inwc, null)
            )
        ) as max_ts,
        arg_min(target_inwc, start_ts) as target_inwc,
        bool_or(in_visit) as in_visit,
    from inside
    group by site_id, excursion_ts
),

relieved as (
    select t.site_id, t.start_ts, count(*) as n_relief
    from interval.relief r
    -- excursions of a site follow each other: a damper that opens does so in the last one begun, or in none
    asof join total t on t.site_id = r.site_id and r.start_ts >= t.start_ts
    where r.start_ts < t.end_ts
    group by t.site_id, t.start_ts
),

interval_of as (
    select site_id, max(interval_s) as interval_s
    from channel.channel
    where is_primary and role = 'static_pressure'
    group by site_id
)

select
    t.site_id,
    t.start_ts,
    t.end_ts,
    (t.end_ts - t.start_ts) / 1e6 as length_s,
    t.above_s,
    t.max_inwc,
    t.max_ts,
    t.target_inwc,
    w.class,
    w.stage,
    w.zones,
    w.n_zones,
    coalesce(r.n_relief, 0) as n_relief,
    (t.end_ts - t.start_ts) / 1e6 >= greatest(h.static_excursion_min_s, 2 * i.interval_s)
        and coalesce(t.settled_above_s, 0) > 0 as counts,
    t.in_visit,
from total t
join weighed w on w.site_id = t.site_id and w.excursion_ts = t.start_ts
join run.threshold h on h.site_id = t.site_id
join interval_of i on i.site_id = t.site_id
left join relieved r on r.site_id = t.site_id and r.start_ts = t.start_ts
order by t.site_id, t.start_ts

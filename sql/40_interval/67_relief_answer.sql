-- one row per excursion of static that counts: what relief did about it
/*
[columns]
start_ts = "BIGINT | us | interval.static_above_target"
end_ts = "BIGINT | us | its end"
n_free = "BIGINT | - | relief zones not calling as it began; null if calls are not known"
n_open = "BIGINT | - | of those, whose damper stood open at some time in it; null if dampers are not logged"
answer_s = "DOUBLE | s | from its start to the first opening or fall; null: none"
answered_by = "VARCHAR | - | damper or fall; null: neither"
change_ts = "BIGINT | us | calls, stage or class next changed"
over_used_up_s = "DOUBLE | s | above target plus the finding's margin with every free relief damper open"
outcome = "VARCHAR | - | answered, late, missing, no fall seen (dampers not logged), used up, open already, not possible (no relief zone free), ended first, changed first, fell with a bypass, purge, not heating or cooling, calls not known"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- Relief has damper travel, the panel's wait and half a minute to show: later is late, later than
-- twice that is missing. With a bypass a fall proves nothing about the panel's relief.
with

excursion as (
    select
        e.site_id,
        e.start_ts,
        e.end_ts,
        e.in_visit,
        (1e6 * (
            coalesce(g.value, t.damper_travel_unknown_s)
            + coalesce(r.value, t.relief_wait_unknown_s)
            + t.relief_allowance_s
        ))::bigint as due_us,
        (1e6 * coalesce(g.value, t.damper_travel_unknown_s))::bigint as travel_us,
        c.class,
        c.stage,
        c.zones,
        t.relief_fall_inwc,
        t.relief_used_up_s,
        coalesce(i.bypass, 'none') in ('barometric', 'motorised') as has_bypass,
    from interval.static_above_target e
    join run.threshold t on t.site_id = e.site_id
    join run.site i on i.site_id = e.site_id
    asof join interval.condition c on c.site_id = e.site_id and e.start_ts >= c.start_ts
    left join run.setting g
        on g.site_id = e.site_id and g.name = 'damper_travel_s'
        and g.start_ts <= e.start_ts and g.end_ts > e.start_ts
    left join run.setting r
        on r.site_id = e.site_id and r.name = 'relief_wait_s'
        and r.start_ts <= e.start_ts and r.end_ts > e.start_ts
    where e.counts
),

-- calls, stage and class as they were, until
state as (
    select
        site_id,
        start_ts,
        row(class, stage, zones) is distinct from lag(row(class, stage, zones)) over (
            partition by site_id order by start_ts
        ) as is_new,
    from interval.condition
),

changed as (
    select e.site_id, e.start_ts, s.start_ts as change_ts
    from excursion e
    asof join (from state where is_new) s on s.site_id = e.site_id and e.start_ts < s.start_ts
),

free as (
    select
        e.site_id,
        e.start_ts,
        count(z.zone) as n_free,
        bool_or(d.site_id is not null) as has_damper,
    from excursion e
    left join run.zone z
        on z.site_id = e.site_id and z.is_relief
        and '+' || e.zones || '+' not like '%+' || z.zone || '+%'
    left join (
        select distinct site_id, zone from signal.state where role = 'zone_damper'
    ) d on d.site_id = z.site_id and d.zone = z.zone
    group by e.site_id, e.start_ts
),

-- looked up by the day of the excursion's start: of a long log not every pair is tried
damper_day as (
    select
        site_id,
        zone,
        start_ts,
        end_ts,
        unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n,
    from signal.state
    where role = 'zone_damper' and is_on
),

-- a damper that stood open from before without a call of its zone relieves as well, unless it was
-- only closing; one that called before and was then left open shows no opening in interval.relief
standing as (
    select site_id, zone, start_ts, end_ts from interval.relief
    union
    select s.site_id, s.zone, s.start_ts, s.end_ts
    from excursion e
    join damper_day s
        on s.site_id = e.site_id and s.day_n = e.start_ts // 86400000000
        and s.start_ts < e.start_ts and s.end_ts > e.start_ts + e.travel_us
    join run.zone z
        on z.site_id = s.site_id and z.zone = s.zone and z.is_relief
        and '+' || e.zones || '+' not like '%+' || z.zone || '+%'
    left join interval.relief r
        on r.site_id = s.site_id and r.zone = s.zone and r.start_ts = s.start_ts
    where r.site_id is null
),

opened as (
    select
        e.site_id,
        e.start_ts,
        count(distinct r.zone) as n_open,
        min(r.start_ts) filter (r.start_ts >= e.start_ts) as open_ts,
        bool_or(r.start_ts < e.start_ts) as is_open_already,
        -- from when the last of them stood open until the first closed
        max(r.start_ts) as last_open_ts,
        min(r.end_ts) as first_close_ts,
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from excursion
    ) e
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from standing
    ) r
        on r.site_id = e.site_id and r.day_n = e.day_n and r.start_ts < e.end_ts and r.end_ts > e.start_ts
        and e.day_n = greatest(e.start_ts, r.start_ts) // 86400000000
        and '+' || e.zones || '+' not like '%+' || r.zone || '+%'
    group by e.site_id, e.start_ts
),

-- static from the start on, for as long as calls and stage stay and relief may take
inside as (
    select
        e.site_id,
        e.start_ts,
        e.relief_fall_inwc,
        p.end_ts as ts,
        p.above_margin_s,
        p.start_ts as piece_ts,
        p.end_inwc,
        max(greatest(if(p.start_ts >= e.start_ts, p.start_inwc, null), p.end_inwc)) over (
            partition by e.site_id, e.start_ts order by p.start_ts
        ) as highest_inwc,
        p.end_ts <= coalesce(c.change_ts, 2**62) and p.end_ts <= e.start_ts + 2 * e.due_us as may_answer,
        o.last_open_ts,
        o.first_close_ts,
        o.n_open = f.n_free and p.start_ts >= o.last_open_ts and p.end_ts <= o.first_close_ts
            and p.end_ts <= e.end_ts as all_open,
    from interval.static_piece p
    asof join excursion e on e.site_id = p.site_id and p.end_ts > e.start_ts
    left join changed c on c.site_id = e.site_id and c.start_ts = e.start_ts
    left join opened o on o.site_id = e.site_id and o.start_ts = e.start_ts
    left join free f on f.site_id = e.site_id and f.start_ts = e.start_ts
    where p.start_ts < greatest(e.end_ts, e.start_ts + 2 * e.due_us) and p.fan_on
),

-- readings have few decimals: a fall of just as much is one, whatever binary fractions make of it
fell as (
    select
        site_id,
        start_ts,
        min(ts) filter (may_answer and highest_inwc - end_inwc >= relief_fall_inwc - 1e-9) as fall_ts,
        coalesce(sum(above_margin_s) filter (all_open), 0) as over_used_up_s,
    from inside
    group by site_id, start_ts
),

answered as (
    select
        e.*,
        c.change_ts,
        f.n_free,
        f.has_damper,
        if(f.has_damper, coalesce(o.n_open, 0), null) as n_open,
        coalesce(o.is_open_already, false) as is_open_already,
        coalesce(l.over_used_up_s, 0) as over_used_up_s,
        if(o.open_ts <= coalesce(l.fall_ts, 2**62), o.open_ts, l.fall_ts) as answer_ts,
        if(o.open_ts <= coalesce(l.fall_ts, 2**62), 'damper', if(l.fall_ts is null, null, 'fall'))
            as answered_by,
    from excursion e
    join free f on f.site_id = e.site_id and f.start_ts = e.start_ts
    left join changed c on c.site_id = e.site_id and c.start_ts = e.start_ts
    left join opened o on o.site_id = e.site_id and o.start_ts = e.start_ts
    left join fell l on l.site_id = e.site_id and l.start_ts = e.start_ts
)

select
    site_id,
    start_ts,
    end_ts,
    if(zones is null, null, n_free) as n_free,
    n_open,
    (answer_ts - start_ts) / 1e6 as answer_s,
    answered_by,
    change_ts,
    over_used_up_s,
    case
        when class = 'purge' then 'purge'
        when class not in ('heating', 'cooling') then 'not heating or cooling'
        when zones is null then 'calls not known'
        when n_free = 0 then 'not possible'
        when over_used_up_s >= relief_used_up_s then 'used up'
        when answered_by = 'fall' and has_bypass then 'fell with a bypass'
        when answer_ts - start_ts <= due_us then 'answered'
        when answer_ts - start_ts <= 2 * due_us then 'late'
        when is_open_already then 'open already'
        when end_ts - start_ts < 2 * due_us and end_ts <= coalesce(change_ts, 2**62) then 'ended first'
        when change_ts - start_ts < 2 * due_us then 'changed first'
        when not coalesce(has_damper, false) then 'no fall seen'
        else 'missing'
    end as outcome,
    in_visit,
from answered
order by site_id, start_ts

-- one row per time of heating or cooling: its start and its purge, against the dampers
/*
definition = "From the first source on to the last one off, with the first seconds and the minutes after it: time in which the blower ran and no damper was open, highest static at the start, in the run and in the purge, and what supply did after the sources went off."
needs = ["outputs", "fan", "dampers or supply static"]
resolution = "one interval of the static channel"
interval_max_s = 30
counted_from = ["static_pressure", "blower_run", "output_", "inferred_"]
not_without = [["output_"]]
source = "times: run.threshold; common practice, no source"

[columns]
mode = "VARCHAR | - | heating or cooling"
start_ts = "BIGINT | us | first source on"
end_ts = "BIGINT | us | last source off"
purge_until_ts = "BIGINT | us | looked at until then: the purge's time, or the next start"
start_closed_s = "DOUBLE | s | just after the start: blower running and every damper closed; null if dampers are not logged"
purge_closed_s = "DOUBLE | s | after it: the same"
purge_fan_s = "DOUBLE | s | after it: blower running"
start_max_inwc = "DOUBLE | in. w.c. | highest static just after the start, blower running; null if not logged"
run_max_inwc = "DOUBLE | in. w.c. | highest from then until the last source off"
purge_max_inwc = "DOUBLE | in. w.c. | highest after it"
is_peak_at_start = "BOOLEAN | - | static was highest just after the start; null if not known"
is_peak_in_purge = "BOOLEAN | - | static was highest after the sources went off; null if not known"
off_supply_f = "DOUBLE | °F | supply as the last source went off; null if not logged"
purge_supply_max_f = "DOUBLE | °F | highest after it"
is_hot_plenum = "BOOLEAN | - | heating: supply hot, or rising, after the sources went off; null if not known"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

lit as (
    select
        *,
        class in ('heating', 'cooling') as is_on,
        lag(class) over (partition by site_id order by start_ts) is distinct from class as is_new,
    from interval.condition
),

run as (
    select
        site_id,
        any_value(class) as mode,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        bool_or(in_visit) as in_visit,
    from (select *, sum(is_new::int) over (partition by site_id order by start_ts) as run_id from lit)
    where is_on
    group by site_id, run_id
),

window_of as (
    select
        r.*,
        least(r.end_ts, r.start_ts + (t.start_closed_s * 1e6)::bigint) as started_ts,
        least(
            r.end_ts + (t.purge_looked_s * 1e6)::bigint,
            coalesce(lead(r.start_ts) over (partition by r.site_id order by r.start_ts), w.end_ts),
            w.end_ts
        ) as purge_until_ts,
    from run r
    join run.window w on w.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
),

-- blower running and every damper known and closed
damper as (
    select site_id, count(*) as n_damper
    from channel.channel
    where role = 'zone_damper' and is_primary
    group by site_id
),

change as (
    select site_id, unnest([start_ts, end_ts]) as ts, unnest([1, -1]) as step, 'fan' as what
    from run_state.fan
    where is_on
    union all
    select site_id, unnest([start_ts, end_ts]), unnest([1, -1]), if(is_on, 'open', 'closed')
    from signal.state
    where role = 'zone_damper'
),

standing as (
    select
        c.site_id,
        c.ts as start_ts,
        lead(c.ts) over w as end_ts,
        sum(c.fan) over w > 0 as fan_on,
        sum(c.open) over w = 0 and sum(c.closed) over w = d.n_damper as is_closed,
    from (
        select
            site_id,
            ts,
            sum(if(what = 'fan', step, 0))::bigint as fan,
            sum(if(what = 'open', step, 0))::bigint as open,
            sum(if(what = 'closed', step, 0))::bigint as closed,
        from change
        group by site_id, ts
    ) c
    left join damper d on d.site_id = c.site_id
    window w as (partition by c.site_id order by c.ts)
),

blown as (
    select
        r.site_id,
        r.start_ts,
        coalesce(sum(
            least(s.end_ts, r.started_ts) - greatest(s.start_ts, r.start_ts)
        ) filter (s.is_closed and s.start_ts < r.started_ts), 0)::double / 1e6 as start_closed_s,
        coalesce(sum(
            least(s.end_ts, r.purge_until_ts) - greatest(s.start_ts, r.end_ts)
        ) filter (s.is_closed and s.end_ts > r.end_ts), 0)::double / 1e6 as purge_closed_s,
        coalesce(sum(
            least(s.end_ts, r.purge_until_ts) - greatest(s.start_ts, r.end_ts)
        ) filter (s.end_ts > r.end_ts), 0)::double / 1e6 as purge_fan_s,
    from (
        -- looked up by the days both lie in: of a long log not every pair is tried
        select *, unnest(range(start_ts // 86400000000, purge_until_ts // 86400000000 + 1)) as day_n
        from window_of
    ) r
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from standing
        where fan_on and end_ts is not null
    ) s
        on s.site_id = r.site_id and s.day_n = r.day_n
        and s.start_ts < r.purge_until_ts and s.end_ts > r.start_ts
        and r.day_n = greatest(s.start_ts, r.start_ts) // 86400000000
    group by r.site_id, r.start_ts
),

static as (
    select
        r.site_id,
        r.start_ts,
        max(p.start_inwc) filter (p.start_ts < r.started_ts) as start_max_inwc,
        max(p.start_inwc) filter (p.start_ts >= r.started_ts and p.start_ts < r.end_ts) as run_max_inwc,
        max(p.start_inwc) filter (p.start_ts >= r.end_ts) as purge_max_inwc,
    from interval.static_piece p
    asof join window_of r on r.site_id = p.site_id and p.start_ts >= r.start_ts
    where p.fan_on and p.start_ts < r.purge_until_ts
    group by r.site_id, r.start_ts
),

supply as (
    select
        r.site_id,
        r.start_ts,
        arg_min(p.start_value, p.start_ts) as off_supply_f,
        max(p.start_value) as purge_supply_max_f,
    from signal.piece p
    asof join (select site_id, start_ts, end_ts, purge_until_ts from window_of where mode = 'heating') r
        on r.site_id = p.site_id and p.end_ts > r.end_ts
    where p.role = 'supply_temp' and p.start_ts < r.purge_until_ts
    group by r.site_id, r.start_ts
)

select
    r.site_id,
    r.mode,
    r.start_ts,
    r.end_ts,
    r.purge_until_ts,
    if(d.n_damper is null, null, coalesce(b.start_closed_s, 0)) as start_closed_s,
    if(d.n_damper is null, null, coalesce(b.purge_closed_s, 0)) as purge_closed_s,
    coalesce(b.purge_fan_s, 0) as purge_fan_s,
    s.start_max_inwc,
    s.run_max_inwc,
    s.purge_max_inwc,
    s.start_max_inwc > greatest(s.run_max_inwc, s.purge_max_inwc) as is_peak_at_start,
    s.purge_max_inwc > greatest(s.run_max_inwc, s.start_max_inwc) as is_peak_in_purge,
    u.off_supply_f,
    u.purge_supply_max_f,
    u.off_supply_f > t.purge_hot_f or u.purge_supply_max_f >= u.off_supply_f + t.purge_climb_f as is_hot_plenum,
    r.in_visit,
from window_of r
join run.threshold t on t.site_id = r.site_id
left join damper d on d.site_id = r.site_id
left join blown b on b.site_id = r.site_id and b.start_ts = r.start_ts
left join static s on s.site_id = r.site_id and s.start_ts = r.start_ts
left join supply u on u.site_id = r.site_id and u.start_ts = r.start_ts
order by r.site_id, r.start_ts

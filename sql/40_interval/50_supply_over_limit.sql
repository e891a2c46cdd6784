-- one row per time supply stood far over the panel's high limit with a heat output on: the limit did not act
/*
[columns]
start_ts = "BIGINT | us | supply passes the limit plus the margin with a heat output on"
end_ts = "BIGINT | us | supply is under it again, or the last heat output goes off"
length_s = "DOUBLE | s | length"
peak_f = "DOUBLE | °F | highest supply temperature in it"
limit_f = "DOUBLE | °F | high limit in force"
is_fan_proven = "BOOLEAN | - | the fan is known to have run all the time, and long enough before, for supply to be judged"
is_certain = "BOOLEAN | - | lasts at least two intervals of the slowest channel used"
in_visit = "BOOLEAN | - | all of it inside visits"
*/
-- Only where the site file gives a high limit. The fan does not decide whether it counts: that much
-- heat for minutes with no fan is as serious, so each row says whether the fan was proven.
with

setting as (
    select
        g.site_id,
        g.value as limit_f,
        g.value + t.limit_did_not_act_f as level_f,
        g.start_ts,
        g.end_ts,
    from run.setting g
    join run.threshold t on t.site_id = g.site_id
    where g.name = 'high_limit_f' and g.value is not null
),

-- the part of each piece at or over the level; pieces are short, nearly all lie wholly below it
over as (
    select
        p.site_id,
        s.limit_f,
        greatest(s.start_ts, case
            when p.start_value >= s.level_f then p.start_ts
            else p.start_ts + ((p.end_ts - p.start_ts) * (s.level_f - p.start_value)
                / (p.end_value - p.start_value))::bigint
        end) as start_ts,
        least(s.end_ts, case
            when p.end_value >= s.level_f then p.end_ts
            else p.start_ts + ((p.end_ts - p.start_ts) * (s.level_f - p.start_value)
                / (p.end_value - p.start_value))::bigint
        end) as end_ts,
        greatest(p.start_value, p.end_value) as peak_f,
    from signal.piece p
    join setting s on s.site_id = p.site_id and s.start_ts < p.end_ts and s.end_ts > p.start_ts
    where p.role = 'supply_temp' and greatest(p.start_value, p.end_value) >= s.level_f
),

-- while any heat output is on, calls or not; what the fan did is asked below
hot as (
    select
        o.site_id,
        o.limit_f,
        greatest(o.start_ts, c.start_ts) as start_ts,
        least(o.end_ts, c.end_ts) as end_ts,
        o.peak_f,
        c.in_visit,
    from over o
    join interval.condition c
        on c.site_id = o.site_id and c.start_ts < o.end_ts and c.end_ts > o.start_ts
    where (c.class = 'heating' and c.is_inferred is distinct from true) or c.w1 or c.w2 or c.aux
),

stretch as (
    select
        site_id,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        max(peak_f) as peak_f,
        min(limit_f) as limit_f,
        bool_and(in_visit) as in_visit,
    from (
        select *, sum(is_new::int) over (partition by site_id order by start_ts) as stretch_id
        from (
            select
                *,
                start_ts is distinct from lag(end_ts) over (partition by site_id order by start_ts)
                    as is_new,
            from hot
            where end_ts > start_ts
        )
    )
    group by site_id, stretch_id
),

long_enough as (
    select s.*, t.supply_judged_after_fan_s * 1e6 as fan_us
    from stretch s
    join run.threshold t on t.site_id = s.site_id
    where s.end_ts - s.start_ts >= t.limit_did_not_act_s * 1e6
),

-- time the fan is known to have run from a while before the stretch to its end
blown as (
    select
        l.site_id,
        l.start_ts,
        sum(least(f.end_ts, l.end_ts) - greatest(f.start_ts, l.start_ts - l.fan_us::bigint)) as on_us,
    from long_enough l
    join run_state.fan f
        on f.site_id = l.site_id
        and f.is_on
        and f.start_ts < l.end_ts
        and f.end_ts > l.start_ts - l.fan_us::bigint
    group by l.site_id, l.start_ts
),

slowest as (
    select site_id, max(interval_s) as interval_s
    from channel.channel
    where is_primary and (role = 'supply_temp' or role like 'output_%')
    group by site_id
)

select
    l.site_id,
    l.start_ts,
    l.end_ts,
    (l.end_ts - l.start_ts) / 1e6 as length_s,
    l.peak_f,
    l.limit_f,
    coalesce(b.on_us >= l.end_ts - l.start_ts + l.fan_us, false) as is_fan_proven,
    coalesce(l.end_ts - l.start_ts >= 2e6 * w.interval_s, false) as is_certain,
    l.in_visit,
from long_enough l
left join blown b on b.site_id = l.site_id and b.start_ts = l.start_ts
left join slowest w on w.site_id = l.site_id
order by l.site_id, l.start_ts

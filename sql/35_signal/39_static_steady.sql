-- one row per trusted reading of supply static that a target is held to: its level with the sensor's noise averaged out
/*
holds = "an average over the readings before and after, as far back and on as noise alone explains their differences"

[columns]
ts = "BIGINT | us | instant"
inwc = "DOUBLE | in. w.c. | steadied; the reading itself where nothing beside it agrees with it"
doubt_inwc = "DOUBLE | in. w.c. | how far noise may have moved it"
noise_inwc = "DOUBLE | in. w.c. | standard deviation of the channel's noise about the target"
n_reading = "INTEGER | - | readings averaged"
*/
-- Where static stands within the noise of the target, readings are above it and below it by chance. So
-- each is averaged with its neighbours, to either side by itself, over 2, 4, 8 and 16 readings, for as
-- long as the intervals "mean within static_steady_sigmas standard errors" have a value in common: the
-- rule of intersecting confidence intervals, which stops at an edge by itself (Goldenshluger and
-- Nemirovski 1997; Katkovnik 1999). The noise is read off second differences, which a level or a ramp
-- leaves at zero: the quarter of them that bend least is noise, whatever moves besides. Of N(0, s) the
-- second difference is N(0, s sqrt 6), and the lower quartile of |N(0, 1)| is 0.3186 (standard tables).
--
-- All that looks at neighbours does so in the order in which pieces are stored, before anything is joined.
with

piece as (
    select
        site_id,
        start_ts,
        end_ts,
        start_value,
        end_value,
        lag(site_id) over () is distinct from site_id or lag(end_ts) over () is distinct from start_ts as is_new,
        lead(site_id) over () is distinct from site_id or lead(start_ts) over () is distinct from end_ts as is_last,
    from signal.piece
    where role = 'static_pressure'
),

-- the start of each piece, and the end of the last one before a gap
reading as (
    select
        site_id,
        if(is_end, end_ts, start_ts) as ts,
        if(is_end, end_value, start_value) as inwc,
        is_new and not is_end as is_new,
    from (select *, unnest(if(is_last, [false, true], [false])) as is_end from piece)
),

numbered as (
    select
        *,
        sum(inwc) over (rows unbounded preceding) as total,
        max(if(is_new, row_id, null)) over (rows unbounded preceding) as run_id,
        row_id - run_id + 1 as n,
    from (select *, row_number() over () as row_id from reading)
),

-- means of as many readings up to and from each one; null over the run's ends
beside as (
    select
        site_id,
        ts,
        inwc,
        lag(inwc) over () as inwc_before,
        lead(inwc) over () as inwc_after,
        n >= 2 and lead(run_id, 1) over () = run_id as is_inside,
        if(n >= 2, total - coalesce(lag(total, 2) over (), 0), null) / 2 as before_2,
        if(n >= 4, total - coalesce(lag(total, 4) over (), 0), null) / 4 as before_4,
        if(n >= 8, total - coalesce(lag(total, 8) over (), 0), null) / 8 as before_8,
        if(n >= 16, total - coalesce(lag(total, 16) over (), 0), null) / 16 as before_16,
        if(lead(run_id, 1) over () = run_id, lead(total, 1) over () - total + inwc, null) / 2 as after_2,
        if(lead(run_id, 3) over () = run_id, lead(total, 3) over () - total + inwc, null) / 4 as after_4,
        if(lead(run_id, 7) over () = run_id, lead(total, 7) over () - total + inwc, null) / 8 as after_8,
        if(lead(run_id, 15) over () = run_id, lead(total, 15) over () - total + inwc, null) / 16 as after_16,
    from numbered
),

target as (
    select site_id, name, value as target_inwc, start_ts, end_ts
    from run.setting
    where name = 'static_target_inwc'
),

bend as (
    select
        b.site_id,
        b.ts,
        b.inwc,
        abs(b.inwc_before - 2 * b.inwc + b.inwc_after) as bend_inwc,
    from beside b
    join run.threshold t on t.site_id = b.site_id
    where b.is_inside and least(b.inwc_before, b.inwc, b.inwc_after) > t.fan_static_over_off_inwc
),

-- near the target if there is enough there, else at any level that a fan makes; null: too little to tell
noise as (
    select
        r.site_id,
        least(
            coalesce(
                quantile_cont(r.bend_inwc, 0.25) filter (r.inwc between 0.75 * g.target_inwc and 1.25 * g.target_inwc),
                quantile_cont(r.bend_inwc, 0.25)
            ) / (0.3186 * sqrt(6)),
            any_value(t.static_noise_max_inwc)
        ) as noise_inwc,
    from bend r
    join run.threshold t on t.site_id = r.site_id
    join target g on g.site_id = r.site_id and r.ts >= g.start_ts and r.ts < g.end_ts
    group by r.site_id
    having count(r.bend_inwc) >= 50
),

step as (
    select site_id, median(end_ts - start_ts) / 1e6 as step_s
    from signal.piece
    where role = 'static_pressure'
    group by site_id
),

-- none for too long a time
near as (
    select
        b.site_id,
        b.ts,
        b.inwc,
        o.noise_inwc,
        o.noise_inwc * t.static_steady_sigmas as reach_inwc,
        t.static_steady_s / s.step_s as n_max,
        if(n_max >= 2, b.before_2, null) as before_2,
        if(n_max >= 4, b.before_4, null) as before_4,
        if(n_max >= 8, b.before_8, null) as before_8,
        if(n_max >= 16, b.before_16, null) as before_16,
        if(n_max >= 2, b.after_2, null) as after_2,
        if(n_max >= 4, b.after_4, null) as after_4,
        if(n_max >= 8, b.after_8, null) as after_8,
        if(n_max >= 16, b.after_16, null) as after_16,
    from beside b
    join noise o on o.site_id = b.site_id
    join step s on s.site_id = b.site_id
    join run.threshold t on t.site_id = b.site_id
),

-- ends of the common interval as it narrows, on both sides
narrowed as (
    select
        *,
        greatest(inwc - reach_inwc, before_2 - reach_inwc / sqrt(2)) as before_low_2,
        least(inwc + reach_inwc, before_2 + reach_inwc / sqrt(2)) as before_high_2,
        greatest(before_low_2, before_4 - reach_inwc / 2) as before_low_4,
        least(before_high_2, before_4 + reach_inwc / 2) as before_high_4,
        greatest(before_low_4, before_8 - reach_inwc / sqrt(8)) as before_low_8,
        least(before_high_4, before_8 + reach_inwc / sqrt(8)) as before_high_8,
        greatest(before_low_8, before_16 - reach_inwc / 4) as before_low_16,
        least(before_high_8, before_16 + reach_inwc / 4) as before_high_16,
        greatest(inwc - reach_inwc, after_2 - reach_inwc / sqrt(2)) as after_low_2,
        least(inwc + reach_inwc, after_2 + reach_inwc / sqrt(2)) as after_high_2,
        greatest(after_low_2, after_4 - reach_inwc / 2) as after_low_4,
        least(after_high_2, after_4 + reach_inwc / 2) as after_high_4,
        greatest(after_low_4, after_8 - reach_inwc / sqrt(8)) as after_low_8,
        least(after_high_4, after_8 + reach_inwc / sqrt(8)) as after_high_8,
        greatest(after_low_8, after_16 - reach_inwc / 4) as after_low_16,
        least(after_high_8, after_16 + reach_inwc / 4) as after_high_16,
    from near
),

chosen as (
    select
        *,
        case
            when before_2 is null or before_low_2 > before_high_2 then 1
            when before_4 is null or before_low_4 > before_high_4 then 2
            when before_8 is null or before_low_8 > before_high_8 then 4
            when before_16 is null or before_low_16 > before_high_16 then 8
            else 16
        end as n_before,
        case
            when after_2 is null or after_low_2 > after_high_2 then 1
            when after_4 is null or after_low_4 > after_high_4 then 2
            when after_8 is null or after_low_8 > after_high_8 then 4
            when after_16 is null or after_low_16 > after_high_16 then 8
            else 16
        end as n_after,
    from narrowed
)

-- the reading itself is in both sides
select
    site_id,
    ts,
    (
        n_before * case n_before
            when 1 then inwc when 2 then before_2 when 4 then before_4 when 8 then before_8 else before_16
        end
        + n_after * case n_after
            when 1 then inwc when 2 then after_2 when 4 then after_4 when 8 then after_8 else after_16
        end
        - inwc
    ) / (n_before + n_after - 1) as inwc,
    reach_inwc / sqrt(n_before + n_after - 1) as doubt_inwc,
    noise_inwc,
    n_before + n_after - 1 as n_reading,
from chosen
order by site_id, ts

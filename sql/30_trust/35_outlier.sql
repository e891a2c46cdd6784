-- one row per reading, or run of readings, that its sensor cannot have given
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | last reading before that may be right"
end_ts = "BIGINT | us | first reading after that may be right"
n_reading = "BIGINT | - | readings in a row"
low_value = "DOUBLE | store unit | lowest of them"
high_value = "DOUBLE | store unit | highest of them"
is_beyond = "BOOLEAN | - | outside what the role can read; false: a leap away from both neighbours and back"
*/
-- What a probe in the plenum reads goes with every run: between readings further apart than
-- leap_plenum_interval_max_s a whole run may show in one of them, and a leap there proves nothing.
with

beside as (
    select
        site_id,
        channel_id,
        ts,
        value,
        row_number() over () as row_n,
        lag(site_id) over () = site_id and lag(channel_id) over () = channel_id as has_last,
        lead(site_id) over () = site_id and lead(channel_id) over () = channel_id as has_next,
        lag(value) over () as last_value,
        lead(value) over () as next_value,
        lag(ts) over () as last_ts,
        lead(ts) over () as next_ts,
    from channel.reading
),

own as (
    select
        c.site_id,
        c.channel_id,
        c.role,
        c.zone,
        p.low_value,
        p.high_value,
        p.leap_value,
        c.interval_s * t.hold_max_intervals * 1e6 as hold_us,
        if(
            c.role in ('supply_temp', 'return_temp', 'mixed_temp', 'static_pressure', 'return_static'),
            t.leap_plenum_interval_max_s * 1e6,
            null
        ) as apart_us,
    from channel.channel c
    join run.role p on p.site_id = c.site_id and p.role = c.role
    join run.threshold t on t.site_id = c.site_id
),

judged as (
    select
        b.site_id,
        b.channel_id,
        c.role,
        c.zone,
        b.ts,
        b.value,
        b.row_n,
        if(b.has_last, b.last_ts, b.ts) as last_ts,
        if(b.has_next, b.next_ts, b.ts) as next_ts,
        b.value < c.low_value or b.value > c.high_value as is_beyond,
        -- a leap: far from both neighbours on one side, and they agree with each other
        b.has_last
            and b.has_next
            and abs(b.value - b.last_value) > c.leap_value
            and abs(b.value - b.next_value) > c.leap_value
            and abs(b.last_value - b.next_value) < c.leap_value / 2
            and b.next_ts - b.last_ts <= 2 * c.hold_us
            and coalesce(b.next_ts - b.last_ts <= 2 * c.apart_us, true) as is_leap,
    from beside b
    join own c on c.site_id = b.site_id and c.channel_id = b.channel_id
),

wrong as (
    select
        *,
        row_n - row_number() over (partition by site_id, channel_id, is_beyond order by row_n)
            as row_group,
    from judged
    where is_beyond or is_leap
)

select
    site_id,
    channel_id,
    any_value(role) as role,
    any_value(zone) as zone,
    min(last_ts) as start_ts,
    max(next_ts) as end_ts,
    count(*) as n_reading,
    min(value) as low_value,
    max(value) as high_value,
    is_beyond,
from wrong
group by site_id, channel_id, is_beyond, row_group
order by site_id, channel_id, start_ts

-- one row per long stretch in which a channel of numbers read one and the same value
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | first reading of it"
end_ts = "BIGINT | us | last reading of it"
value = "DOUBLE | store unit | the value"
covered_s = "DOUBLE | s | how much of it has readings"
n_start = "BIGINT | - | equipment starts inside it; of supply, return and mixed air where no run was logged: hours inside it in which another of them moved"
usual_s = "DOUBLE | s | the longest of its ordinary, shorter stretches"
*/
with

marked as (
    select
        site_id,
        channel_id,
        ts,
        value,
        row_number() over () as row_n,
        lag(site_id) over () is distinct from site_id
            or lag(channel_id) over () is distinct from channel_id
            or lag(value) over () <> value as is_new,
    from channel.reading
),

-- streaming, as stored: a stretch ends where the next one begins
stretch as (
    select
        site_id,
        channel_id,
        ts as start_ts,
        value,
        case
            when lead(site_id) over () = site_id and lead(channel_id) over () = channel_id
                then lead(ts) over ()
        end as next_ts,
        -- readings until the next stretch, of whatever channel
        lead(row_n) over () - row_n as n_reading,
    from marked
    where is_new
),

bounded as (
    select
        s.site_id,
        s.channel_id,
        c.role,
        c.zone,
        s.start_ts,
        -- readings inside one stretch are an interval apart, so the last one is one before the next
        coalesce(s.next_ts - (c.interval_s * 1e6)::bigint, l.last_ts) as end_ts,
        s.value,
        -- time with readings: what lies in a hole of the log did not stand still
        least(
            (end_ts - s.start_ts) / 1e6, coalesce(s.n_reading * c.interval_s, 1e12)
        ) as length_s,
        c.constant_min_s,
    from stretch s
    join (
        select c.site_id, c.channel_id, c.role, c.zone, c.interval_s, t.constant_min_s
        from channel.channel c
        join run.threshold t on t.site_id = c.site_id
    ) c on c.site_id = s.site_id and c.channel_id = s.channel_id
    join trust.look l on l.site_id = s.site_id and l.channel_id = s.channel_id
),

usual as (
    select site_id, channel_id, max(length_s) as usual_s
    from bounded
    where length_s < constant_min_s
    group by site_id, channel_id
),

run_start as (
    select site_id, start_ts from trust.run
),

-- with neither outputs nor calls the other probes of the plenum say that air went by
hour as (
    select m.site_id, m.channel_id, m.start_ts // 3_600_000_000 * 3_600_000_000 as start_ts
    from trust.minute m
    join run.threshold t on t.site_id = m.site_id
    anti join trust.run r on r.site_id = m.site_id
    where m.role in ('supply_temp', 'return_temp', 'mixed_temp')
    group by m.site_id, m.channel_id, m.start_ts // 3_600_000_000
    having max(m.mean_value) - min(m.mean_value) >= any_value(t.stuck_moves_min_f)
),

moved as (
    select b.site_id, b.channel_id, b.start_ts, count(distinct h.start_ts) as n_hour
    from bounded b
    join hour h
        on h.site_id = b.site_id
        and h.channel_id <> b.channel_id
        and h.start_ts >= b.start_ts
        and h.start_ts + 3_600_000_000 <= b.end_ts
    where b.role in ('supply_temp', 'return_temp', 'mixed_temp') and b.length_s >= b.constant_min_s
    group by b.site_id, b.channel_id, b.start_ts
)

select
    b.site_id,
    b.channel_id,
    b.role,
    b.zone,
    b.start_ts,
    b.end_ts,
    any_value(b.value) as value,
    any_value(b.length_s) as covered_s,
    count(r.start_ts) + coalesce(any_value(m.n_hour), 0) as n_start,
    coalesce(any_value(u.usual_s), 0) as usual_s,
from bounded b
left join usual u on u.site_id = b.site_id and u.channel_id = b.channel_id
left join moved m
    on m.site_id = b.site_id and m.channel_id = b.channel_id and m.start_ts = b.start_ts
left join run_start r
    on r.site_id = b.site_id and r.start_ts > b.start_ts and r.start_ts < b.end_ts
where b.length_s >= b.constant_min_s
group by b.site_id, b.channel_id, b.role, b.zone, b.start_ts, b.end_ts
order by b.site_id, b.channel_id, b.start_ts

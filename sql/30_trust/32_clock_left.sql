-- one row per channel whose clock is seen to be off in this run: by how much, for the checks of channels
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
left_us = "DOUBLE | us | its clock minus the reference's as it still stands in the instants, in the middle"
gains = "DOUBLE | s/s | how much of it there is more by the second"
middle_ts = "BIGINT | us | the instant at which it is left_us"
*/
with

-- reported, not applied: the readings stay where they are, but a check that lays one logger's
-- readings beside another's outputs must look where they belong, or it blames the channel
of_logger as (
    select
        c.site_id,
        c.logger,
        c.offset_s - c.applied_s + coalesce(r.applied_s, 0) as left_s,
        c.plus_minus_s,
        coalesce(c.drift_s_per_day, 0) / 86400 as gains,
        (w.start_ts + w.end_ts) // 2 as middle_ts,
        (w.end_ts - w.start_ts) / 2e6 as half_s,
    from trust.clock_offset c
    join run.window w on w.site_id = c.site_id
    left join trust.clock_offset r on r.site_id = c.site_id and r.logger = c.reference_logger
    where c.confidence in ('shown', 'likely')
)

select
    c.site_id,
    c.channel_id,
    f.left_s * 1e6 as left_us,
    f.gains,
    f.middle_ts,
from channel.channel c
join of_logger f on f.site_id = c.site_id and f.logger = c.logger
join run.threshold t on t.site_id = c.site_id
where
    abs(f.left_s) + abs(f.gains) * f.half_s >= t.clock_offset_warn_s
    and (abs(f.left_s) >= f.plus_minus_s or f.gains <> 0)
order by c.site_id, c.channel_id

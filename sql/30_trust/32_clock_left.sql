-- one row per channel whose clock is seen to be off in this run: by how much, for the checks of channels
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
left_us = "BIGINT | us | its clock minus the reference's as it still stands in the instants, in whole minutes"
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
    from trust.clock_offset c
    left join trust.clock_offset r on r.site_id = c.site_id and r.logger = c.reference_logger
    where c.confidence in ('shown', 'likely')
)

select
    c.site_id,
    c.channel_id,
    round(f.left_s / 60)::bigint * 60_000_000 as left_us,
from channel.channel c
join of_logger f on f.site_id = c.site_id and f.logger = c.logger
join run.threshold t on t.site_id = c.site_id
where abs(f.left_s) >= greatest(f.plus_minus_s, t.clock_offset_warn_s)
order by c.site_id, c.channel_id

-- one row per stretch of a primary analog channel that was logged at a rate other than its usual one
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
start_ts = "BIGINT | us | first reading of the stretch"
end_ts = "BIGINT | us | first reading of the next one"
interval_s = "DOUBLE | s | nominal interval within it"
*/
-- Mostly empty: a logger is set once. The usual rate is channel.channel's interval_s.
select
    r.site_id,
    r.channel_id,
    r.start_ts - (c.offset_s * 1e6)::bigint as start_ts,
    r.end_ts - (c.offset_s * 1e6)::bigint as end_ts,
    r.interval_s,
from store.rate r
join channel.channel c on c.site_id = r.site_id and c.channel_id = r.channel_id
where c.is_primary and r.interval_s <> c.interval_s and r.end_ts > r.start_ts
order by r.site_id, r.channel_id, r.start_ts

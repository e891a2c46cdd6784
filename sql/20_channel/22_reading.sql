-- one row per reading of a primary analog channel, on one clock, with a told zero shift taken out
/*
holds = "in (site_id, channel_id, ts) order"

[columns]
channel_id = "INTEGER | - | channel.channel"
ts = "BIGINT | us | instant"
value = "DOUBLE | store unit | reading"
*/
select
    r.site_id,
    r.channel_id,
    r.ts - (c.offset_s * 1e6)::bigint as ts,
    r.value
        - case
            when r.ts - (c.offset_s * 1e6)::bigint >= z.start_ts
                and r.ts - (c.offset_s * 1e6)::bigint < z.end_ts
                then z.shift
            else 0
        end as value,
from store.reading r
join channel.channel c on c.site_id = r.site_id and c.channel_id = r.channel_id
left join run.zero_shift z on z.site_id = r.site_id and z.channel_id = r.channel_id
where c.is_primary
order by r.site_id, r.channel_id, r.ts

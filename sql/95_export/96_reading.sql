-- one row per reading of a primary analog channel, on one clock, with what it reads and whether figures rest on it
/*
holds = "in (site_id, channel_id, ts) order"

[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | what the channel reads: role"
zone = "INTEGER | - | zone number; null for equipment"
ts = "BIGINT | us | instant"
value = "DOUBLE | as unit says | reading; of a channel that totals over an interval: percent, seconds or counts in the interval that ends at ts"
unit = "VARCHAR | - | unit of the value"
is_used = "BOOLEAN | - | figures rest on it; false: not believed (trust.problem), or too far from its neighbours for anything to hold between them (trust.gap)"
*/
with

-- what measures read is the pieces between readings
used as (
    select site_id, channel_id, start_ts as ts from signal.piece
    union all
    select site_id, channel_id, end_ts from signal.piece
)

select
    r.site_id,
    r.channel_id,
    c.role,
    c.zone,
    r.ts,
    r.value,
    case s.form
        when 'percent_on' then '%'
        when 'seconds_on' then 's'
        when 'count' then 'counts'
        when 'total' then 'counts'
        else u.unit
    end as unit,
    (r.site_id, r.channel_id, r.ts) in (select (site_id, channel_id, ts) from used) as is_used,
from channel.reading r
join channel.channel c on c.site_id = r.site_id and c.channel_id = r.channel_id
left join store.channel s on s.site_id = r.site_id and s.channel_id = r.channel_id
left join run.role u on u.site_id = r.site_id and u.role = c.role
order by r.site_id, r.channel_id, r.ts

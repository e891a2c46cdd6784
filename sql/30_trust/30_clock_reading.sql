-- one row per reading by which the clocks of a site's loggers can be compared
/*
holds = "in (site_id, channel_id, ts) order; none of a site with one logger"

[columns]
channel_id = "INTEGER | - | channel.channel"
ts = "BIGINT | us | instant"
value = "DOUBLE | store unit | reading"
*/
-- what answers an output within minutes, and rooms; the comparison itself is done row by row in Python,
-- to which a year of everything else need not be carried
select r.site_id, r.channel_id, r.ts, r.value
from channel.reading r
join channel.channel c on c.site_id = r.site_id and c.channel_id = r.channel_id
where
    c.role in ('static_pressure', 'return_static', 'supply_temp', 'zone_temp')
    and c.site_id in (select site_id from channel.channel group by site_id having count(distinct logger) > 1)
order by r.site_id, r.channel_id, r.ts

-- one row per channel that carries a role, with the clock offset taken out in this run
/*
[columns]
channel_id = "INTEGER | - | store.channel"
logger = "VARCHAR | - | store.file.logger"
column_name = "VARCHAR | - | header text"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone number; null for equipment"
damper = "VARCHAR | - | which of several dampers"
kind = "VARCHAR | - | analog or state"
is_sampled = "BOOLEAN | - | false: change of state"
interval_s = "DOUBLE | s | nominal interval"
is_primary = "BOOLEAN | - | the channel measures use: the first listed of its role and zone; of dampers all"
offset_s = "DOUBLE | s | clock offset taken out in this run"
*/
-- Several channels may carry one role: the first listed is used, the others check it. Dampers of
-- one zone are all used.
select
    c.site_id,
    c.channel_id,
    c.logger,
    c.column_name,
    c.role,
    c.zone,
    c.damper,
    c.kind,
    c.is_sampled,
    c.interval_s,
    c.role <> 'ignore' and (
        c.role = 'zone_damper'
        or row_number() over (partition by c.site_id, c.role, c.zone order by c.channel_id) = 1
    ) as is_primary,
    coalesce(k.offset_s, 0.0)::double as offset_s,
from store.channel c
left join run.clock k on k.site_id = c.site_id and k.logger = c.logger
order by c.site_id, c.channel_id

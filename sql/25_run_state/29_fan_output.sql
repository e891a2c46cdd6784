-- one row per site: whether the panel's fan output runs the blower in gas heat, as the log bears it out
/*
[columns]
is_said = "BOOLEAN | - | the site file says so"
is_overruled = "BOOLEAN | - | it says so, and static stood up through most of gas heat with G off"
covers_gas_heat = "BOOLEAN | - | so it is to be taken: said and not overruled; always true without a burner"
*/
-- The log is asked once, where the blower's own state is told (run_state.fan_told): G is what tells it
-- wherever it is logged and said to cover gas heat, unless static shows otherwise or running is proven.
with

told as (
    select s.site_id, bool_or(c.site_id is not null) and bool_or(f.site_id is not null) as by_static_beside_g
    from run.site s
    left join channel.channel c on c.site_id = s.site_id and c.role = 'output_g' and c.is_primary
    left join (select distinct site_id from run_state.fan_told where source = 'static_pressure') f
        on f.site_id = s.site_id
    group by s.site_id
)

select
    s.site_id,
    s.fan_output_in_gas_heat as is_said,
    s.has_burner and s.fan_output_in_gas_heat and t.by_static_beside_g as is_overruled,
    not s.has_burner or (s.fan_output_in_gas_heat and not is_overruled) as covers_gas_heat,
from run.site s
join told t on t.site_id = s.site_id
order by s.site_id

-- one row per stretch during which the blower was known to run or to stand
/*
[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
is_on = "BOOLEAN | - | running"
source = "VARCHAR | - | blower_run, output_g, static_pressure, outputs or supply_temp (the last three are inferred)"
*/
-- What was logged of the blower comes first. Where only outputs would tell and they do not say when
-- every mode ran, it is read off supply temperature.
with

read_off as (
    select
        *,
        sum(is_new::int) over (partition by site_id order by start_ts) as stretch_id,
    from (
        select
            site_id,
            start_ts,
            end_ts,
            state <> 'off' as is_on,
            (state <> 'off') is distinct from lag(state <> 'off') over w
                or start_ts is distinct from lag(end_ts) over w as is_new,
        from run_state.inferred_state
        window w as (partition by site_id order by start_ts)
    )
)

select f.site_id, f.start_ts, f.end_ts, f.is_on, f.source
from run_state.fan_told f
where
    f.source <> 'outputs'
    or not exists (from run_state.inferred_state i where i.site_id = f.site_id)
union all
select r.site_id, min(r.start_ts), max(r.end_ts), any_value(r.is_on), 'supply_temp'
from read_off r
where not exists (
    from run_state.fan_told f where f.site_id = r.site_id and f.source <> 'outputs'
)
group by r.site_id, r.stretch_id
order by site_id, start_ts

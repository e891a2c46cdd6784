-- one row per mode, source, stage and calling zones: rise against static, last days over first ones
/*
definition = "Median rise and static of the last days against the first, same source, stage and calling zones. A change counts when it is over its bound (a share of the rise, an amount of static) and its interval leaves out none. Rise up and static down: return side; both up: supply side; rise down and static up: more air or less heat; rise up alone: heat side or sensor. A constant-airflow blower: static up alone is coping, rise up and static down is its cap."
needs = ["supply temperature", "return temperature", "supply static", "outputs", "calls of every zone"]
resolution = "as measure.rise"
interval_max_s = 60
counted_from = ["static_pressure", "supply_temp", "return_temp", "output_", "inferred_"]
not_without = [["static_pressure"]]
source = "sign table: common practice, no source; a dirty filter does not raise supply static"

[columns]
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | zones calling"
zones = "VARCHAR | - | which"
n_first = "BIGINT | - | steady stretches in the first days"
n_last = "BIGINT | - | in the last days"
rise_first_f = "DOUBLE | °F | median rise of the first days"
rise_last_f = "DOUBLE | °F | of the last"
rise_half_f = "DOUBLE | °F | half width of the change's interval"
static_first_inwc = "DOUBLE | in. w.c. | median static of the first days"
static_last_inwc = "DOUBLE | in. w.c. | of the last"
static_half_inwc = "DOUBLE | in. w.c. | half width of the change's interval"
rise_sign = "INTEGER | - | 1 up, 0 same, -1 down"
static_sign = "INTEGER | - | 1 up, 0 same, -1 down"
reads = "VARCHAR | - | return side, supply side, more air or less heat, heat side or sensor, coping, at its cap, no change, or cannot be read"
coverage = "DOUBLE | share | lower of measure.coverage of rise and of static"
resolution_s = "DOUBLE | s | slower of the two"
*/
with

side as (
    select
        site_id,
        mode,
        source,
        stage,
        n_zones,
        zones,
        count(*) filter (is_first) as n_first,
        count(*) filter (is_last) as n_last,
        median(rise_f) filter (is_first) as rise_first_f,
        median(rise_f) filter (is_last) as rise_last_f,
        median(static_inwc) filter (is_first) as static_first_inwc,
        median(static_inwc) filter (is_last) as static_last_inwc,
        1.57 * sqrt(
            power(quantile_cont(rise_f, 0.75) filter (is_first) - quantile_cont(rise_f, 0.25) filter (is_first), 2)
                / nullif(n_first, 0)
            + power(quantile_cont(rise_f, 0.75) filter (is_last) - quantile_cont(rise_f, 0.25) filter (is_last), 2)
                / nullif(n_last, 0)
        ) as rise_half_f,
        1.57 * sqrt(
            power(
                quantile_cont(static_inwc, 0.75) filter (is_first)
                    - quantile_cont(static_inwc, 0.25) filter (is_first),
                2
            ) / nullif(n_first, 0)
            + power(
                quantile_cont(static_inwc, 0.75) filter (is_last)
                    - quantile_cont(static_inwc, 0.25) filter (is_last),
                2
            ) / nullif(n_last, 0)
        ) as static_half_inwc,
    from interval.steady_air
    where not in_visit and zones is not null and static_inwc is not null
    group by site_id, mode, source, stage, n_zones, zones
),

signed as (
    select
        s.*,
        case
            when abs(rise_last_f - rise_first_f) <= greatest(t.sign_rise_share * rise_first_f, rise_half_f) then 0
            else sign(rise_last_f - rise_first_f)
        end::integer as rise_sign,
        case
            when abs(static_last_inwc - static_first_inwc) <= greatest(t.sign_static_inwc, static_half_inwc) then 0
            else sign(static_last_inwc - static_first_inwc)
        end::integer as static_sign,
    from side s
    join run.threshold t on t.site_id = s.site_id
    where s.n_first >= t.sign_min_stretches and s.n_last >= t.sign_min_stretches
),

quality as (
    select site_id, min(coverage) as coverage, max(resolution_s) as resolution_s
    from measure.coverage
    where figure in ('rise', 'static')
    group by site_id
)

select
    s.site_id,
    s.mode,
    s.source,
    s.stage,
    s.n_zones,
    s.zones,
    s.n_first,
    s.n_last,
    s.rise_first_f,
    s.rise_last_f,
    s.rise_half_f,
    s.static_first_inwc,
    s.static_last_inwc,
    s.static_half_inwc,
    s.rise_sign,
    s.static_sign,
    case
        when s.rise_sign = 0 and s.static_sign = 0 then 'no change'
        when i.fan = 'constant_airflow' and s.rise_sign = 0 and s.static_sign = 1 then 'coping'
        when i.fan = 'constant_airflow' and s.rise_sign = 1 and s.static_sign = -1 then 'at its cap'
        when s.rise_sign = 1 and s.static_sign = -1 then 'return side'
        when s.rise_sign = 1 and s.static_sign = 1 then 'supply side'
        when s.rise_sign = -1 and s.static_sign = 1 then 'more air or less heat'
        when s.rise_sign = 1 and s.static_sign = 0 then 'heat side or sensor'
        else 'cannot be read'
    end as reads,
    q.coverage,
    q.resolution_s,
from signed s
join run.site i on i.site_id = s.site_id
join quality q on q.site_id = s.site_id
order by s.site_id, s.mode, s.source, s.stage, s.n_zones, s.zones

-- one row per local day and mode: airflow against the log's first days, visits left out
/*
definition = "Median rise (split) of the first days over the day's, stretch by stretch in the same source, stage, calling zones and outdoor 5 °F bin; 0.8 means 20 % less air at the same output. The first days are those of interval.steady_air; three like stretches at least."
needs = ["supply temperature", "return temperature", "outputs", "calls of every zone", "outdoor temperature"]
resolution = "as measure.rise"
interval_max_s = 60
counted_from = ["supply_temp", "return_temp", "output_", "inferred_"]
not_without = [["zone_call_"], ["outdoor_temp"]]
source = "ours; at constant output the rise goes as one over the airflow; half width of a median's interval 1.57 IQR / sqrt(n): McGill, Tukey and Larsen 1978 (from memory)"

[columns]
day = "DATE | - | local date"
mode = "VARCHAR | - | heating or cooling"
is_reference = "BOOLEAN | - | one of the first days"
n_stretch = "BIGINT | - | steady stretches with like ones in the first days"
steady_s = "DOUBLE | s | steady time in them"
airflow_index = "DOUBLE | - | median; 1 is as in the first days"
index_low = "DOUBLE | - | lower end of the median's interval; null under five stretches"
index_high = "DOUBLE | - | upper end"
static_change_inwc = "DOUBLE | in. w.c. | median of the stretches' static less that of like ones in the first days; null if not logged"
coverage = "DOUBLE | share | measure.coverage of rise"
resolution_s = "DOUBLE | s | measure.coverage of rise"
*/
with

stretch as (
    select *, floor(outdoor_f / 5) as outdoor_bin
    from interval.steady_air
    where not in_visit and zones is not null and outdoor_f is not null and rise_f > 0
),

reference as (
    select
        site_id,
        mode,
        source,
        stage,
        zones,
        outdoor_bin,
        median(rise_f) as rise_f,
        median(static_inwc) as static_inwc,
    from stretch
    where is_first
    group by site_id, mode, source, stage, zones, outdoor_bin
    having count(*) >= 3
),

held as (
    select
        p.site_id,
        p.day,
        p.mode,
        p.is_first,
        p.s,
        r.rise_f / p.rise_f as ratio,
        p.static_inwc - r.static_inwc as static_change_inwc,
    from stretch p
    join reference r
        on r.site_id = p.site_id and r.mode = p.mode and r.source = p.source and r.stage = p.stage
        and r.zones = p.zones and r.outdoor_bin = p.outdoor_bin
),

daily as (
    select
        site_id,
        day,
        mode,
        any_value(is_first) as is_reference,
        count(*) as n_stretch,
        sum(s) as steady_s,
        median(ratio) as airflow_index,
        1.57 * (quantile_cont(ratio, 0.75) - quantile_cont(ratio, 0.25)) / sqrt(count(*)) as half,
        median(static_change_inwc) as static_change_inwc,
    from held
    group by site_id, day, mode
)

select
    d.site_id,
    d.day,
    d.mode,
    d.is_reference,
    d.n_stretch,
    d.steady_s,
    d.airflow_index,
    if(d.n_stretch >= 5, d.airflow_index - d.half, null) as index_low,
    if(d.n_stretch >= 5, d.airflow_index + d.half, null) as index_high,
    d.static_change_inwc,
    c.coverage,
    c.resolution_s,
from daily d
join measure.coverage c on c.site_id = d.site_id and c.figure = 'rise'
order by d.site_id, d.day, d.mode

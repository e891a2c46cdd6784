-- one row per mode, source, stage and set of calling zones with steady air, and one over all calls
/*
definition = "CFM = output / (1.08 x air factor x rise), with the output as the plate gives it and the air factor (1 - 6.8754e-6 x altitude)^5.2559. Gas and electric heat with the compressor off; a heat pump's heat between its two ratings; cooling only as a range over the sensible share. The bounds take the output's doubt and both probes' accuracy. No altitude or no output given: no figure."
needs = ["supply temperature", "return temperature", "outputs", "fan", "output on the plate", "altitude"]
resolution = "as measure.rise"
interval_max_s = 60
counted_from = ["supply_temp", "return_temp", "output_", "inferred_"]
source = "1.08 = 0.075 lb/ft3 x 0.24 Btu/lb °F x 60 min/h; standard atmosphere: ASHRAE Fundamentals 2017 ch. 1 eq. 3"

[columns]
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | burner, strip, compressor or both"
stage = "INTEGER | - | 1 or 2"
is_total = "BOOLEAN | - | over all calls"
n_zones = "BIGINT | - | zones calling"
zones = "VARCHAR | - | which"
steady_s = "DOUBLE | s | steady time behind it"
rise_f = "DOUBLE | °F | median rise (split)"
air_factor = "DOUBLE | - | of 1.08; null if the altitude is not given"
outdoor_f = "DOUBLE | °F | mean outdoors in it; null if not known"
output_btuh = "DOUBLE | Btu/h | output used; null if there is none"
cfm = "DOUBLE | CFM | figure; null in cooling and where there is none"
cfm_low = "DOUBLE | CFM | lower bound"
cfm_high = "DOUBLE | CFM | upper bound"
why_none = "VARCHAR | - | why there is no figure; null if there is"
coverage = "DOUBLE | share | measure.rise"
resolution_s = "DOUBLE | s | measure.rise"
*/
with

accuracy as (
    select
        c.site_id,
        -- two probes' independent doubts
        sqrt(sum(power(coalesce(s.accuracy, t.temperature_accuracy_unknown_f), 2))) as rise_doubt_f,
    from channel.channel c
    join store.channel s on s.site_id = c.site_id and s.channel_id = c.channel_id
    join run.threshold t on t.site_id = c.site_id
    where c.is_primary and c.role in ('supply_temp', 'return_temp')
    group by c.site_id
),

weathered as (
    select * from interval.steady_air where outdoor_f is not null and not in_visit
),

outdoor as (
    select site_id, mode, source, stage, false as is_total, zones, sum(s * outdoor_f) / sum(s) as outdoor_f
    from weathered
    group by site_id, mode, source, stage, zones
    union all
    select site_id, mode, source, stage, true, null, sum(s * outdoor_f) / sum(s)
    from weathered
    group by site_id, mode, source, stage
),

known as (
    select
        r.*,
        o.outdoor_f,
        power(1 - 6.8754e-6 * i.altitude_ft, 5.2559) as air_factor,
        case
            when r.source <> 'compressor' or r.mode = 'cooling' then p.output_btuh
            -- the ratings hold between them, and ten degrees past either
            when o.outdoor_f >= 7 and o.outdoor_f <= 57
                then p.output_17f_btuh + (p.output_btuh - p.output_17f_btuh) * (o.outdoor_f - 17) / 30
        end as output_btuh,
        sqrt(power(t.airflow_output_doubt_frac, 2) + power(a.rise_doubt_f / nullif(r.rise_f, 0), 2)) as doubt,
        t.sensible_share_low,
        t.sensible_share_high,
        case
            when r.source = 'both' then 'two sources at once'
            when r.steady_s < t.airflow_min_steady_s then 'too little steady time'
            when r.rise_f < t.airflow_min_rise_f then 'rise too small for the probes'
            when i.altitude_ft is null then 'altitude not given'
            when p.output_btuh is null then 'output not given'
            when r.source = 'compressor' and r.mode = 'heating' and o.outdoor_f is null
                then 'outdoor air not known'
            when output_btuh is null then 'too far from the rated outdoor temperatures'
        end as why_none,
    from measure.rise r
    join run.site i on i.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
    join accuracy a on a.site_id = r.site_id
    left join run.plate p
        on p.site_id = r.site_id and p.source = r.source and p.mode = r.mode and p.stage = r.stage
    left join outdoor o
        on o.site_id = r.site_id and o.mode = r.mode and o.source = r.source and o.stage = r.stage
        and o.is_total = r.is_total and o.zones is not distinct from r.zones
    where r.steady_s > 0
),

figured as (
    select
        *,
        if(why_none is null, output_btuh / (1.08 * air_factor * rise_f), null) as full_cfm,
    from known
)

select
    site_id,
    mode,
    source,
    stage,
    is_total,
    n_zones,
    zones,
    steady_s,
    rise_f,
    air_factor,
    outdoor_f,
    output_btuh,
    if(mode = 'heating', full_cfm, null) as cfm,
    full_cfm * if(mode = 'cooling', sensible_share_low, 1) * (1 - doubt) as cfm_low,
    full_cfm * if(mode = 'cooling', sensible_share_high, 1) * (1 + doubt) as cfm_high,
    why_none,
    coverage,
    resolution_s,
from figured
order by site_id, mode, source, stage, is_total desc, n_zones, zones

-- one row per zone, mode and what the zone itself did while heating or cooling ran, visits left out
/*
definition = "How fast a room moves towards its setpoint (°F/h, least squares over whole minutes) while its mode runs with supply proven and off the room by enough: when it calls (its pick-up), and when others do. Beyond its own drift: less the slope of the time before, nothing heating or cooling it."
needs = ["the zone's temperature", "supply temperature", "outputs", "calls of every zone"]
resolution = "slopes need five minutes of warm (cool) air; at 300 s that is one reading, so only long runs count"
interval_max_s = 120
counted_from = ["zone_temp"]
source = "ours; half width of a median's interval 1.57 IQR / sqrt(n): McGill, Tukey and Larsen 1978 (from memory)"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
is_calling = "BOOLEAN | - | the zone itself called"
damper = "VARCHAR | - | open, closed or moved, as shown; null if not logged"
n_run = "BIGINT | - | stretches with a slope"
warm_s = "DOUBLE | s | time in them with supply proven and off the room by enough"
slope_f_per_h = "DOUBLE | °F/h | median: when calling this is the zone's pick-up"
slope_low_f_per_h = "DOUBLE | °F/h | lower end of the median's interval; null under five stretches"
slope_high_f_per_h = "DOUBLE | °F/h | upper end"
n_drift = "BIGINT | - | stretches whose drift before is known"
beyond_drift_f_per_h = "DOUBLE | °F/h | median of the slope less the drift before"
beyond_low_f_per_h = "DOUBLE | °F/h | lower end of its interval; null under five"
beyond_high_f_per_h = "DOUBLE | °F/h | upper end"
n_night = "BIGINT | - | of n_drift, at night: neither sun nor stairs in use"
beyond_night_f_per_h = "DOUBLE | °F/h | median of those"
coverage = "DOUBLE | share | of the zone's temperature"
resolution_s = "DOUBLE | s | interval of the zone's temperature"
*/
with

run as (
    select *, slope_f_per_h - slope_before_f_per_h as beyond_f_per_h
    from interval.zone_run
    where not in_visit
),

summed as (
    select
        site_id,
        zone,
        mode,
        is_calling,
        damper,
        count(slope_f_per_h) as n_run,
        coalesce(sum(warm_s) filter (slope_f_per_h is not null), 0) as warm_s,
        median(slope_f_per_h) as slope_f_per_h,
        1.57 * (quantile_cont(slope_f_per_h, 0.75) - quantile_cont(slope_f_per_h, 0.25))
            / nullif(sqrt(count(slope_f_per_h)), 0) as slope_half,
        count(beyond_f_per_h) as n_drift,
        median(beyond_f_per_h) as beyond_drift_f_per_h,
        1.57 * (quantile_cont(beyond_f_per_h, 0.75) - quantile_cont(beyond_f_per_h, 0.25))
            / nullif(sqrt(count(beyond_f_per_h)), 0) as beyond_half,
        count(beyond_f_per_h) filter (is_night) as n_night,
        median(beyond_f_per_h) filter (is_night) as beyond_night_f_per_h,
    from run
    group by site_id, zone, mode, is_calling, damper
),

logged as (
    select site_id, zone, min(coverage) as coverage, max(interval_s) as interval_s
    from signal.coverage
    where role = 'zone_temp'
    group by site_id, zone
)

select
    s.site_id,
    s.zone,
    s.mode,
    s.is_calling,
    s.damper,
    s.n_run,
    s.warm_s,
    s.slope_f_per_h,
    if(s.n_run >= 5, s.slope_f_per_h - s.slope_half, null) as slope_low_f_per_h,
    if(s.n_run >= 5, s.slope_f_per_h + s.slope_half, null) as slope_high_f_per_h,
    s.n_drift,
    s.beyond_drift_f_per_h,
    if(s.n_drift >= 5, s.beyond_drift_f_per_h - s.beyond_half, null) as beyond_low_f_per_h,
    if(s.n_drift >= 5, s.beyond_drift_f_per_h + s.beyond_half, null) as beyond_high_f_per_h,
    s.n_night,
    s.beyond_night_f_per_h,
    l.coverage,
    l.interval_s as resolution_s,
from summed s
join logged l on l.site_id = s.site_id and l.zone = s.zone
where s.n_run > 0
order by s.site_id, s.zone, s.mode, s.is_calling desc, s.damper

-- one row per zone and mode: does its damper do what it is told, as shown and as the room answers; visits left out
/*
definition = "As shown: stretches of interval.damper_disagreement. As the room answers: median slope of the room when its zone calls, less that when only others call with its damper not open; a damper that does what it is told makes a difference. Whether a channel shows the panel's command or the damper's own position, the log cannot tell."
needs = ["the zone's temperature or its damper", "supply temperature", "outputs", "calls of every zone"]
resolution = "as measure.zone_response"
interval_max_s = 120
counted_from = ["zone_temp"]
source = "ours; half width of a median's interval 1.57 IQR / sqrt(n): McGill, Tukey and Larsen 1978 (from memory)"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
calling_s = "DOUBLE | s | heating or cooling ran and the zone called"
n_not_open = "BIGINT | - | stretches shown closed although it called; null if dampers are not logged"
not_open_s = "DOUBLE | s | time in them"
n_not_closed = "BIGINT | - | stretches shown open although only others called, no relief zone"
not_closed_s = "DOUBLE | s | time in them"
n_shut = "BIGINT | - | stretches in which only others called and it was shown closed throughout"
n_calling = "BIGINT | - | slopes when calling"
n_other = "BIGINT | - | slopes when only others call, damper not shown open"
answer_f_per_h = "DOUBLE | °F/h | difference of their medians; null without both"
answer_low_f_per_h = "DOUBLE | °F/h | lower end of its interval; null under five on either side"
answer_high_f_per_h = "DOUBLE | °F/h | upper end"
coverage = "DOUBLE | share | measure.coverage of conditions"
resolution_s = "DOUBLE | s | measure.coverage of conditions"
*/
with

run as (
    select
        *,
        if(is_calling, slope_f_per_h, null) as own,
        if(not is_calling and coalesce(damper, 'closed') = 'closed', slope_f_per_h, null) as other,
    from interval.zone_run
    where not in_visit
),

answered as (
    select
        site_id,
        zone,
        mode,
        coalesce(sum(end_ts - start_ts) filter (is_calling), 0)::double / 1e6 as calling_s,
        bool_or(damper is not null) as has_damper,
        count(*) filter (not is_calling and damper = 'closed') as n_shut,
        count(own) as n_calling,
        count(other) as n_other,
        median(own) - median(other) as answer_f_per_h,
        1.57 * sqrt(
            power(quantile_cont(own, 0.75) - quantile_cont(own, 0.25), 2) / nullif(count(own), 0)
            + power(quantile_cont(other, 0.75) - quantile_cont(other, 0.25), 2) / nullif(count(other), 0)
        ) as half,
    from run
    group by site_id, zone, mode
),

shown as (
    select
        site_id,
        zone,
        mode,
        count(*) filter (kind = 'did not open') as n_not_open,
        sum(length_s) filter (kind = 'did not open') as not_open_s,
        count(*) filter (kind = 'did not close') as n_not_closed,
        sum(length_s) filter (kind = 'did not close') as not_closed_s,
    from interval.damper_disagreement
    where not in_visit
    group by site_id, zone, mode
)

select
    a.site_id,
    a.zone,
    a.mode,
    a.calling_s,
    if(a.has_damper, coalesce(s.n_not_open, 0), null) as n_not_open,
    if(a.has_damper, coalesce(s.not_open_s, 0), null) as not_open_s,
    if(a.has_damper, coalesce(s.n_not_closed, 0), null) as n_not_closed,
    if(a.has_damper, coalesce(s.not_closed_s, 0), null) as not_closed_s,
    a.n_shut,
    a.n_calling,
    a.n_other,
    a.answer_f_per_h,
    if(a.n_calling >= 5 and a.n_other >= 5, a.answer_f_per_h - a.half, null) as answer_low_f_per_h,
    if(a.n_calling >= 5 and a.n_other >= 5, a.answer_f_per_h + a.half, null) as answer_high_f_per_h,
    c.coverage,
    c.resolution_s,
from answered a
join measure.coverage c on c.site_id = a.site_id and c.figure = 'conditions'
left join shown s on s.site_id = a.site_id and s.zone = a.zone and s.mode = a.mode
order by a.site_id, a.zone, a.mode

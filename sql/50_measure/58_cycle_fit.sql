-- one row per source or zone call and mode: cycles an hour at half load, fitted over its hours
/*
definition = "Nmax of N = 4 Nmax X (1 - X), least squares through the origin over hours with X in the fit's range."
needs = ["outputs or calls"]
resolution = "as measure.cycle_hour"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "the conventional thermostat curve of Henderson and Rengarajan 1996; NEMA DC 3 (from memory); range and least hours: run.threshold"

[columns]
what = "VARCHAR | - | burner, strip, compressor, 'any call' or 'zone N'"
mode = "VARCHAR | - | heating or cooling"
nmax_per_h = "DOUBLE | 1/h | least squares through the origin over hours with runtime in the fit's range; null if too few"
n_hour = "BIGINT | h | hours used"
set_per_h = "DOUBLE | 1/h | cycles per hour as set; null if not given"
*/
-- N = 4 Nmax X (1 - X), least squares through the origin: Nmax = sum(N z) / sum(z^2), z = 4 X (1 - X).
-- Source of the curve: the conventional thermostat's cycling curve (Henderson and Rengarajan 1996, as
-- used in the US DOE's open building simulation engine). Hourly, because the curve is concave.
with

used as (
    select
        h.site_id,
        h.what,
        h.mode,
        h.n_start,
        4 * h.runtime_frac * (1 - h.runtime_frac) as z,
        h.runtime_frac >= t.cycle_fit_low_frac and h.runtime_frac <= t.cycle_fit_high_frac as is_used,
        t.cycle_fit_min_hours,
    from measure.cycle_hour h
    join run.threshold t on t.site_id = h.site_id
)

select
    u.site_id,
    u.what,
    u.mode,
    if(
        count(*) filter (u.is_used) >= any_value(u.cycle_fit_min_hours),
        sum(u.n_start * u.z) filter (u.is_used) / nullif(sum(u.z * u.z) filter (u.is_used), 0),
        null
    ) as nmax_per_h,
    count(*) filter (u.is_used) as n_hour,
    any_value(z.cycles_per_hour) as set_per_h,
from used u
left join run.zone z on z.site_id = u.site_id and 'zone ' || z.zone = u.what
group by u.site_id, u.what, u.mode
order by u.site_id, u.what, u.mode

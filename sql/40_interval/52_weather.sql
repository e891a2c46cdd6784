-- one row per clock step in which outdoor air was known throughout
/*
holds = "steps are those of the clock in UTC; one with a gap inside is left out, so no time is counted in a gap"

[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
outdoor_f = "DOUBLE | °F | mean of the step, weighted by time"
*/
select
    p.site_id,
    min(p.start_ts) as start_ts,
    max(p.end_ts) as end_ts,
    sum((p.end_ts - p.start_ts) * (p.start_value + p.end_value) / 2)
        / sum(p.end_ts - p.start_ts) as outdoor_f,
from signal.piece p
join run.threshold t on t.site_id = p.site_id
where p.role = 'outdoor_temp'
group by p.site_id, p.start_ts // (t.weather_step_s * 1e6)::bigint
having sum(p.end_ts - p.start_ts) = max(p.end_ts) - min(p.start_ts)
order by p.site_id, min(p.start_ts)

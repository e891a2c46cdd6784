-- one row per reading inside a finding's window, full rate
select
    f.site_id,
    f.code,
    f.n,
    p.channel_id,
    p.role,
    p.zone,
    p.start_ts as ts,
    p.start_value as value,
    coalesce(lead(p.start_ts) over w <> p.end_ts, true) as gap_after,
from run.finding_window f
join signal.piece p
    on p.site_id = f.site_id and p.start_ts >= f.start_ts and p.start_ts < f.end_ts
window w as (partition by f.site_id, f.code, f.n, p.channel_id order by p.start_ts)
order by f.site_id, f.code, f.n, p.channel_id, ts

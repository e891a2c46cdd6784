-- one row per reading inside a finding's window, full rate
/*
holds = "in (code, n, channel_id, ts) order"

[columns]
code = "VARCHAR | - | finding"
n = "BIGINT | - | number within the finding"
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
ts = "BIGINT | us | instant"
value = "DOUBLE | store unit | reading"
gap_after = "BOOLEAN | - | the next reading is too far for a line to be drawn"
*/
-- The last reading before a gap begins no piece: it is the end of the one before.
with

piece as (
    select
        f.site_id,
        f.code,
        f.n,
        f.start_ts as window_start,
        f.end_ts as window_end,
        p.*exclude (site_id),
        lead(p.start_ts) over w is distinct from p.end_ts as is_last,
    from run.finding_window f
    join signal.piece p
        on p.site_id = f.site_id and p.start_ts < f.end_ts and p.end_ts >= f.start_ts
    window w as (partition by f.site_id, f.code, f.n, p.channel_id order by p.start_ts)
),

point as (
    select *, start_ts as ts, start_value as value, false as gap_after from piece
    union all
    select *, end_ts, end_value, true from piece where is_last
)

select
    site_id,
    code,
    n,
    channel_id,
    role,
    zone,
    ts,
    value,
    gap_after,
from point
where ts >= window_start and ts < window_end
order by site_id, code, n, channel_id, ts

-- one row per trusted reading of the window, full rate, as lines are drawn through them
/*
holds = "in (channel_id, ts) order"

[columns]
channel_id = "INTEGER | - | channel.channel"
ts = "BIGINT | us | instant"
value = "DOUBLE | store unit | reading"
gap_after = "BOOLEAN | - | the next reading is too far for a line to be drawn"
*/
-- The last reading before a gap begins no piece: it is the end of the one before.
with

piece as (
    select
        *,
        lead(start_ts) over (partition by site_id, channel_id order by start_ts) is distinct from end_ts as is_last,
    from signal.piece
)

select site_id, channel_id, start_ts as ts, start_value as value, false as gap_after from piece
union all
select site_id, channel_id, end_ts, end_value, true from piece where is_last
order by site_id, channel_id, ts

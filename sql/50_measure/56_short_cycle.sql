-- one row per short run or short rest outside visits
/*
definition = "Each closed run shorter than the least run, and each compressor rest shorter than the minimum-off less one interval and the margin; not known: under the fallback. A heap of rests at the timer's own value is the timer doing its job."
needs = ["the source's output"]
resolution = "one interval at each edge"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "run.threshold"

[columns]
source = "VARCHAR | - | burner, strip or compressor"
mode = "VARCHAR | - | heating, cooling or unknown"
what = "VARCHAR | - | run or rest"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length from start to end"
day = "DATE | - | local date it begins on"
zones = "VARCHAR | - | zones calling for most of it"
n_zones = "BIGINT | - | how many"
by_limit = "BOOLEAN | - | ended by a limit trip or cut-out: belongs to that finding"
after_trip = "BOOLEAN | - | began within 15 min of a trip's end"
*/
-- Runs ended by a limit belong to the limit finding and are marked. Chatter neither ends nor starts a
-- run, so its length is from end to end.
with

interval_of as (
    select
        site_id,
        max(interval_s) filter (role = 'output_y1') as compressor_interval_s,
    from channel.channel
    where is_primary
    group by site_id
),

limits as (
    select
        r.*,
        if(r.source = 'compressor', t.short_run_compressor_max_s, t.short_run_burner_max_s) as short_run_s,
        case
            when r.source <> 'compressor' then null
            when g.value is null then t.compressor_min_off_unknown_s
            else g.value * 60 - coalesce(i.compressor_interval_s, 1) - t.short_rest_allowance_s
        end as short_rest_s,
        (r.end_ts - r.start_ts) / 1e6 as run_s,
        t.chatter_max_s,
        t.after_trip_s,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    left join interval_of i on i.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'compressor_min_off_min'
        and g.start_ts <= r.start_ts and g.end_ts > r.start_ts
    where not r.in_visit
),

short as (
    select
        site_id,
        source,
        mode,
        'run' as what,
        start_ts,
        end_ts,
        run_s as length_s,
        chatter_max_s,
        after_trip_s,
    from limits
    where is_closed and run_s < short_run_s and source <> 'strip'
    union all
    select
        site_id,
        source,
        mode,
        'rest',
        start_ts - (rest_before_s * 1e6)::bigint,
        start_ts,
        rest_before_s,
        chatter_max_s,
        after_trip_s,
    from limits r
    where
        rest_before_s < short_rest_s
        and not exists (
            from run.visit x
            where
                x.site_id = r.site_id
                and x.start_ts < r.start_ts
                and x.end_ts > r.start_ts - (r.rest_before_s * 1e6)::bigint
        )
),

-- the zones that called for most of it; looked up by the day both lie in, counted on the later start's
called as (
    select s.site_id, s.source, s.start_ts, c.zones, c.n_zones
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n from short
    ) s
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from interval.condition
    ) c
        on c.site_id = s.site_id and c.day_n = s.day_n
        and c.start_ts < s.end_ts and c.end_ts > s.start_ts
        and s.day_n = greatest(s.start_ts, c.start_ts) // 86400000000
    group by s.site_id, s.source, s.start_ts, c.zones, c.n_zones
    qualify row_number() over (
        partition by s.site_id, s.source, s.start_ts
        order by sum(least(c.end_ts, s.end_ts) - greatest(c.start_ts, s.start_ts)) desc, c.zones
    ) = 1
)

select
    s.site_id,
    s.source,
    s.mode,
    s.what,
    s.start_ts,
    s.end_ts,
    s.length_s,
    d.day,
    c.zones,
    c.n_zones,
    s.what = 'run' and (
        exists (
            from interval.trip x
            where x.site_id = s.site_id and abs(x.drop_ts - s.end_ts) <= s.chatter_max_s * 1e6
        )
        or exists (
            from interval.cut_out x
            where x.site_id = s.site_id and x.start_ts >= s.start_ts and x.start_ts < s.end_ts
        )
    ) as by_limit,
    exists (
        from interval.trip x
        where
            x.site_id = s.site_id
            and s.start_ts >= x.drop_ts
            and s.start_ts <= x.end_ts + s.after_trip_s * 1e6
    ) as after_trip,
from short s
join run.day d on d.site_id = s.site_id and s.start_ts >= d.start_ts and s.start_ts < d.end_ts
left join called c on c.site_id = s.site_id and c.source = s.source and c.start_ts = s.start_ts
order by s.site_id, s.start_ts, s.source, s.what

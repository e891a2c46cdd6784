-- one row per output or source and outdoor bin, set of calling zones, or schedule period
/*
definition = "Seconds an output (W1 ... aux, fan) or a source (burner, strip, compressor by mode) was on, split three ways: by outdoor air in bins [5k, 5k + 5) °F, by the set of zones calling, by the set of zones whose schedule is set back. Each split is exclusive; visits are counted."
needs = ["outputs", "outdoor air, calls of every zone, or setback hours in the site file"]
resolution = "half an interval at each edge; outdoor air by clock steps"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "width of a bin: run.threshold"

[columns]
split = "VARCHAR | - | outdoor, calling or schedule"
part = "VARCHAR | - | outdoor: the bin's lower end in °F; calling: zones such as '1+3' ('' for none); schedule: zones set back"
low_f = "DOUBLE | °F | outdoor: the bin's lower end; else null"
what = "VARCHAR | - | output_w1 ... output_aux, fan, or burner, strip, compressor heating, compressor cooling"
on_s = "DOUBLE | s | time on in this part"
known_s = "DOUBLE | s | time of this part in which the outputs are known"
coverage = "DOUBLE | share | time in which outputs and the split are known, over the window"
resolution_s = "DOUBLE | s | slowest of the channels used"
*/
with

edge as (
    select site_id, unnest([start_ts, end_ts]) as ts from interval.condition
    union
    select site_id, unnest([start_ts, end_ts]) from interval.weather
    union
    select site_id, unnest([start_ts, end_ts]) from run.setback
),

-- zones that are set back, from edge to edge
period as (
    select
        s.site_id,
        s.ts as start_ts,
        array_to_string(
            list_filter(range(0, 63), lambda z: (s.mask >> z) & 1 = 1), '+'
        ) as zones_back,
    from (
        select site_id, ts, sum(mask) over (partition by site_id order by ts)::bigint as mask
        from (
            select site_id, ts, sum(step * (1::bigint << zone))::bigint as mask
            from (
                select site_id, zone, unnest([start_ts, end_ts]) as ts, unnest([1, -1]) as step
                from run.setback
            )
            group by site_id, ts
        )
    ) s
),

has_setback as (
    select distinct site_id from run.setback
),

piece as (
    select
        e.site_id,
        e.ts as start_ts,
        (lead(e.ts) over (partition by e.site_id order by e.ts) - e.ts) / 1e6 as s,
    from edge e
),

-- one row per stretch of known outputs, with what it is split by
cut as (
    select
        p.site_id,
        p.s,
        if(o.end_ts > p.start_ts, floor(o.outdoor_f / t.outdoor_bin_f) * t.outdoor_bin_f, null) as low_f,
        if(c.class = 'unknown', null, c.zones) as zones,
        if(h.site_id is null, null, coalesce(b.zones_back, '')) as zones_back,
        c.w1,
        c.w2,
        c.y1,
        c.y2,
        c.aux,
        c.fan_on,
        c.class,
        i.has_burner,
    from piece p
    join run.site i on i.site_id = p.site_id
    join run.threshold t on t.site_id = p.site_id
    asof join interval.condition c on c.site_id = p.site_id and p.start_ts >= c.start_ts
    asof left join interval.weather o on o.site_id = p.site_id and p.start_ts >= o.start_ts
    asof left join period b on b.site_id = p.site_id and p.start_ts >= b.start_ts
    left join has_setback h on h.site_id = p.site_id
    where p.start_ts < c.end_ts and c.class <> 'unknown'
),

summed as (
    select
        site_id,
        split,
        part,
        low_f,
        sum(s) as known_s,
        coalesce(sum(s) filter (w1), 0) as output_w1,
        coalesce(sum(s) filter (w2), 0) as output_w2,
        coalesce(sum(s) filter (y1), 0) as output_y1,
        coalesce(sum(s) filter (y2), 0) as output_y2,
        coalesce(sum(s) filter (aux), 0) as output_aux,
        coalesce(sum(s) filter (fan_on), 0) as fan,
        coalesce(sum(s) filter (w1 and has_burner), 0) as burner,
        coalesce(sum(s) filter (aux or (w1 and not has_burner)), 0) as strip,
        coalesce(sum(s) filter (y1 and class = 'heating'), 0) as compressor_heating,
        coalesce(sum(s) filter (y1 and class = 'cooling'), 0) as compressor_cooling,
    from (
        select *, 'outdoor' as split, printf('%g', low_f) as part from cut where low_f is not null
        union all
        select * replace (null::double as low_f), 'calling', zones from cut where zones is not null
        union all
        select * replace (null::double as low_f), 'schedule', zones_back from cut where zones_back is not null
    )
    group by site_id, split, part, low_f
),

total as (
    select site_id, split, sum(known_s) as split_s
    from summed
    group by site_id, split
),

told as (
    select
        site_id,
        split,
        part,
        low_f,
        known_s,
        unnest([
            'output_w1', 'output_w2', 'output_y1', 'output_y2', 'output_aux', 'fan',
            'burner', 'strip', 'compressor heating', 'compressor cooling'
        ]) as what,
        unnest([
            output_w1, output_w2, output_y1, output_y2, output_aux, fan,
            burner, strip, compressor_heating, compressor_cooling
        ]) as on_s,
    from summed
),

-- what never ran in the window is not told of, part by part
ran as (
    select site_id, split, what
    from told
    group by site_id, split, what
    having sum(on_s) > 0
)

select
    o.site_id,
    o.split,
    o.part,
    o.low_f,
    o.what,
    o.on_s,
    o.known_s,
    a.split_s / nullif((w.end_ts - w.start_ts) / 1e6, 0) as coverage,
    v.resolution_s,
from told o
join ran r on r.site_id = o.site_id and r.split = o.split and r.what = o.what
join total a on a.site_id = o.site_id and a.split = o.split
join run.window w on w.site_id = o.site_id
left join measure.coverage v
    on v.site_id = o.site_id
    and v.figure = case o.split when 'outdoor' then 'outdoor' when 'calling' then 'conditions' else 'outputs' end
order by o.site_id, o.split, o.low_f, o.part, o.what

-- one row per ten minutes of a compressor's cooling run, its first ten left out: split and static as they were
/*
holds = "nothing need be steady, so it also shows what a compressor does that never gets there; the blower runs, calls and stage are the same for at least half of it"

[columns]
run_ts = "BIGINT | us | start of the compressor's run"
start_ts = "BIGINT | us | first reading of supply air in it"
end_ts = "BIGINT | us | end of the last"
s = "DOUBLE | s | supply and return known"
after_s = "DOUBLE | s | how long after the run's start"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | zones calling; null if not known"
zones = "VARCHAR | - | which"
supply_f = "DOUBLE | °F | mean supply air"
split_f = "DOUBLE | °F | mean return air less supply air"
static_inwc = "DOUBLE | in. w.c. | mean supply static; null if not logged"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

cooling as (
    select
        r.site_id,
        r.start_ts as run_ts,
        c.start_ts,
        c.end_ts,
        c.stage,
        c.n_zones,
        c.zones,
        c.in_visit,
        (t.cooling_split_bin_s * 1e6)::bigint as bin_us,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    join interval.condition c
        on c.site_id = r.site_id and c.start_ts >= r.start_ts and c.start_ts < r.end_ts
    where
        r.source = 'compressor'
        and r.mode = 'cooling'
        and c.class = 'cooling'
        and c.source = 'compressor'
        and c.fan_on
),

-- looked up by the hour, which is cheaper than by instant: most pieces lie in no run of cooling
hour as (
    select
        *,
        unnest(range(start_ts // 3600000000, (end_ts - 1) // 3600000000 + 1)) as start_hour,
    from cooling
),

reading as (
    select
        p.site_id,
        p.role,
        p.start_ts,
        least(p.end_ts, c.end_ts) as end_ts,
        (p.start_value + p.end_value) / 2 as value,
        c.run_ts,
        c.stage,
        c.n_zones,
        c.zones,
        c.in_visit,
        c.bin_us,
        (p.start_ts - c.run_ts) // c.bin_us as bin,
    from signal.piece p
    join hour c
        on c.site_id = p.site_id
        and c.start_hour = p.start_ts // 3600000000
        and p.start_ts >= c.start_ts
        and p.start_ts < c.end_ts
    where
        p.role in ('supply_temp', 'static_pressure')
        and p.start_ts - c.run_ts >= c.bin_us
),

beside as (
    select s.*, if(b.end_ts > s.start_ts, b.start_value, null) as return_f
    from (select * from reading where role = 'supply_temp') s
    asof left join (select * from signal.piece where role = 'return_temp') b
        on b.site_id = s.site_id and s.start_ts >= b.start_ts
),

binned as (
    select
        site_id,
        run_ts,
        bin,
        stage,
        n_zones,
        zones,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        sum(end_ts - start_ts)::double / 1e6 as s,
        sum(value * (end_ts - start_ts)) / sum(end_ts - start_ts) as supply_f,
        sum((return_f - value) * (end_ts - start_ts)) / sum(end_ts - start_ts) as split_f,
        bool_or(in_visit) as in_visit,
    from beside
    where return_f is not null and end_ts > start_ts
    group by site_id, run_ts, bin, stage, n_zones, zones, bin_us
    having sum(end_ts - start_ts) * 2 >= bin_us
),

static as (
    select site_id, run_ts, bin, stage, zones, sum(value * (end_ts - start_ts)) / sum(end_ts - start_ts) as static_inwc
    from reading
    where role = 'static_pressure' and end_ts > start_ts
    group by site_id, run_ts, bin, stage, zones
)

select
    b.site_id,
    b.run_ts,
    b.start_ts,
    b.end_ts,
    b.s,
    (b.start_ts - b.run_ts) / 1e6 as after_s,
    b.stage,
    b.n_zones,
    b.zones,
    b.supply_f,
    b.split_f,
    x.static_inwc,
    b.in_visit,
from binned b
left join static x
    on x.site_id = b.site_id and x.run_ts = b.run_ts and x.bin = b.bin
    and x.stage = b.stage and x.zones is not distinct from b.zones
order by b.site_id, b.start_ts

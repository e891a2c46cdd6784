-- one row per run of a heat or cooling source: when supply answered, and how warm or cold it became
/*
holds = "supply is held against its own lowest since the start for the first answer, and against return air once the run is old enough"

[columns]
source = "VARCHAR | - | burner, strip or compressor"
mode = "VARCHAR | - | as the outputs tell: heating, cooling or unknown"
called = "VARCHAR | - | heating or cooling: what the zones call for; null if both, neither or not known"
start_ts = "BIGINT | us | on"
end_ts = "BIGINT | us | off"
on_s = "DOUBLE | s | time on"
has_start = "BOOLEAN | - | start seen"
heat_ts = "BIGINT | us | first reading at which supply has climbed by the least answer; null: it never did"
to_heat_s = "DOUBLE | s | from the start to it"
known_s = "DOUBLE | s | of the run: supply known; 0 if it never is"
over_return_f = "DOUBLE | °F | supply less return, median once the run is old enough; null if it never is, or not known"
judged_s = "DOUBLE | s | of the run once old enough: supply and return known, visits left out"
cold_s = "DOUBLE | s | of that: supply less than the least over return air"
outdoor_f = "DOUBLE | °F | outdoor air at the start; null if not known"
in_defrost = "BOOLEAN | - | a defrost lies in it"
in_visit = "BOOLEAN | - | starts inside a visit"
outside_s = "DOUBLE | s | of the run: outside visits"
*/
-- Supply falls first, when the blower clears the plenum, so that its lowest so far is the level that
-- an answer is held against.
with

run as (
    select r.*, row_number() over (partition by r.site_id order by r.start_ts, r.source) as run_id
    from interval.source_run r
),

-- looked up by stretches no piece is longer than, which is cheaper than by instant
bucket as (
    select site_id, greatest(3600000000, max(end_ts - start_ts)) as bucket_us
    from signal.piece
    where role = 'supply_temp'
    group by site_id
),

run_bucket as (
    select
        r.site_id,
        r.run_id,
        r.start_ts,
        r.end_ts,
        b.bucket_us,
        unnest(range(r.start_ts // b.bucket_us - 1, (r.end_ts - 1) // b.bucket_us + 1)) as start_bucket,
    from run r
    join bucket b on b.site_id = r.site_id
),

supply as (
    select
        r.site_id,
        r.run_id,
        p.start_ts as ts,
        p.start_value as supply_f,
        least(p.end_ts, r.end_ts) - greatest(p.start_ts, r.start_ts) as held_us,
        p.start_ts >= r.start_ts + (t.response_judged_s * 1e6)::bigint as is_old,
        t.response_least_f,
        t.response_cold_f,
        exists (
            from run.visit v
            where v.site_id = p.site_id and v.start_ts <= p.start_ts and v.end_ts > p.start_ts
        ) as in_visit,
        min(p.start_value) over (
            partition by r.site_id, r.run_id order by p.start_ts rows unbounded preceding
        ) as low_f,
    from (
        select p.*, p.start_ts // b.bucket_us as start_bucket
        from signal.piece p
        join bucket b on b.site_id = p.site_id
        where p.role = 'supply_temp'
    ) p
    join run_bucket r
        on r.site_id = p.site_id
        and r.start_bucket = p.start_bucket
        and p.end_ts > r.start_ts
        and p.start_ts < r.end_ts
    join run.threshold t on t.site_id = r.site_id
),

return_air as (
    select site_id, start_ts, end_ts, start_value as return_f
    from signal.piece
    where role = 'return_temp'
),

answered as (
    select
        s.site_id,
        s.run_id,
        min(s.ts) filter (s.supply_f - s.low_f >= s.response_least_f) as heat_ts,
        sum(s.held_us) / 1e6 as known_s,
    from supply s
    group by s.site_id, s.run_id
),

late as (
    select
        s.site_id,
        s.run_id,
        quantile_cont(s.supply_f - b.return_f, 0.5) as over_return_f,
        coalesce(sum(s.held_us) filter (not s.in_visit), 0) / 1e6 as judged_s,
        coalesce(sum(s.held_us) filter (not s.in_visit and s.supply_f - b.return_f < s.response_cold_f), 0) / 1e6
            as cold_s,
    from supply s
    asof join return_air b on b.site_id = s.site_id and s.ts >= b.start_ts
    where s.is_old and s.ts < b.end_ts
    group by s.site_id, s.run_id
),

visited as (
    select r.site_id, r.run_id, sum(least(v.end_ts, r.end_ts) - greatest(v.start_ts, r.start_ts)) / 1e6 as s,
        bool_or(v.start_ts <= r.start_ts) as is_start
    from run r
    join run.visit v on v.site_id = r.site_id and v.start_ts < r.end_ts and v.end_ts > r.start_ts
    group by r.site_id, r.run_id
),

-- calls are read after the first seconds: output and call change at one instant
calling as (
    select r.site_id, r.run_id, c.n_heat, c.n_cool
    from run r
    asof join interval.condition c
        on c.site_id = r.site_id and least(r.start_ts + 10000000, r.end_ts - 1) >= c.start_ts
)

select
    r.site_id,
    r.source,
    r.mode,
    case
        when c.n_heat > 0 and c.n_cool = 0 then 'heating'
        when c.n_cool > 0 and c.n_heat = 0 then 'cooling'
    end as called,
    r.start_ts,
    r.end_ts,
    r.on_s,
    r.has_start,
    a.heat_ts,
    (a.heat_ts - r.start_ts) / 1e6 as to_heat_s,
    coalesce(a.known_s, 0) as known_s,
    l.over_return_f,
    coalesce(l.judged_s, 0) as judged_s,
    coalesce(l.cold_s, 0) as cold_s,
    if(o.end_ts > r.start_ts, o.outdoor_f, null) as outdoor_f,
    exists (
        from interval.defrost d
        where d.site_id = r.site_id and d.start_ts < r.end_ts and d.end_ts > r.start_ts
    ) as in_defrost,
    coalesce(v.is_start, false) as in_visit,
    (r.end_ts - r.start_ts) / 1e6 - coalesce(v.s, 0) as outside_s,
from run r
left join answered a on a.site_id = r.site_id and a.run_id = r.run_id
left join late l on l.site_id = r.site_id and l.run_id = r.run_id
left join visited v on v.site_id = r.site_id and v.run_id = r.run_id
left join calling c on c.site_id = r.site_id and c.run_id = r.run_id
asof left join interval.weather o on o.site_id = r.site_id and r.start_ts >= o.start_ts
order by r.site_id, r.start_ts, r.source

-- one row per long stretch in which an output is on and no zone calls for it, with every honest reason taken off
/*
[columns]
what = "VARCHAR | - | heating (burner, strip or compressor), cooling or fan"
on_ts = "BIGINT | us | on with no call from"
off_ts = "BIGINT | us | off, called for, or not known any more"
uncalled_s = "DOUBLE | s | between the two"
least_run_s = "DOUBLE | s | of it: the compressor's minimum run, or a burner's ignition sequence"
purge_s = "DOUBLE | s | of it: fan after heat or cooling"
defrost_s = "DOUBLE | s | of it: defrost"
ventilator_s = "DOUBLE | s | of it: the ventilator asks for the fan"
start_ts = "BIGINT | us | longest part that none of them explains; null if there is none"
end_ts = "BIGINT | us | its end"
length_s = "DOUBLE | s | its length; 0 if there is none"
is_uncalled = "BOOLEAN | - | that part lasts long enough to be one"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- The fan is looked at only where every zone's fan call is logged. A dehumidifying panel is no role
-- of a channel: it stands among the causes.
with

fan_call as (
    select site_id, start_ts, end_ts
    from signal.state
    where role = 'zone_call_g' and is_on
),

fan_logged as (
    select z.site_id
    from run.zone z
    left join channel.channel c
        on c.site_id = z.site_id and c.zone = z.zone and c.role = 'zone_call_g' and c.is_primary
    group by z.site_id
    having bool_and(c.role is not null)
),

-- heat or cooling that no zone calls for; a compressor whose mode is not known is left out
stretch as (
    select c.site_id, k.what, c.start_ts, c.end_ts, c.in_visit,
        c.class = k.what and if(k.what = 'heating', c.n_heat, c.n_cool) = 0
            and c.is_inferred is distinct from true as is_on,
    from interval.condition c
    cross join (select unnest(['heating', 'cooling']) as what) k
    union all
    select c.site_id, 'fan', c.start_ts, c.end_ts, c.in_visit,
        c.fan_on and c.class in ('fan_only', 'purge', 'off') and c.n_heat = 0 and c.n_cool = 0
            and not coalesce(bool_or(c.is_inferred) over (partition by c.site_id), false),
    from interval.condition c
    join fan_logged f on f.site_id = c.site_id
),

open_stretch as (
    select
        s.site_id,
        s.what,
        min(s.start_ts) as on_ts,
        max(s.end_ts) as off_ts,
        bool_or(s.in_visit) as in_visit,
    from (
        select
            *,
            sum((not coalesce(is_on, false))::int)
                over (partition by site_id, what order by start_ts) as stretch_id,
        from stretch
    ) s
    join run.threshold t on t.site_id = s.site_id
    where s.is_on
    group by s.site_id, s.what, s.stretch_id, t.uncalled_min_s
    having max(s.end_ts) - min(s.start_ts) >= t.uncalled_min_s * 1e6
),

reason as (
    select
        r.site_id,
        if(r.mode = 'cooling', 'cooling', 'heating') as what,
        'least_run' as kind,
        r.start_ts,
        r.start_ts + (1e6 * case r.source
            when 'compressor' then t.least_run_compressor_s
            when 'burner' then t.least_run_burner_s
            else 0
        end)::bigint as end_ts,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    union all
    select r.site_id, 'fan', 'purge', r.end_ts, r.end_ts + (t.fan_after_run_max_s * 1e6)::bigint
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    union all
    select d.site_id, 'heating', 'defrost', d.start_ts, d.end_ts + (t.defrost_after_s * 1e6)::bigint
    from interval.defrost d
    join run.threshold t on t.site_id = d.site_id
    union all
    select v.site_id, 'fan', 'ventilator', v.start_ts, v.end_ts
    from signal.state v
    where v.role = 'ventilator' and v.is_on
    union all
    select f.site_id, 'fan', 'called', f.start_ts, f.end_ts
    from fan_call f
),

change as (
    select site_id, what, 'open' as kind, unnest([on_ts, off_ts]) as ts, unnest([1, -1]) as step
    from open_stretch
    union all
    select site_id, what, kind, unnest([start_ts, end_ts]), unnest([1, -1])
    from reason
    where end_ts > start_ts
),

standing as (
    select
        c.site_id,
        c.what,
        c.ts as start_ts,
        lead(c.ts) over w as end_ts,
        sum(c.is_open) over w > 0 as is_open,
        sum(c.is_open_edge) over w as stretch_id,
        sum(c.least_run) over w > 0 as in_least_run,
        sum(c.purge) over w > 0 as in_purge,
        sum(c.defrost) over w > 0 as in_defrost,
        sum(c.ventilator) over w > 0 as in_ventilator,
        sum(c.called) over w > 0 as is_called,
    from (
        select
            site_id,
            what,
            ts,
            sum(if(kind = 'open', step, 0))::bigint as is_open,
            count(*) filter (kind = 'open') as is_open_edge,
            sum(if(kind = 'least_run', step, 0))::bigint as least_run,
            sum(if(kind = 'purge', step, 0))::bigint as purge,
            sum(if(kind = 'defrost', step, 0))::bigint as defrost,
            sum(if(kind = 'ventilator', step, 0))::bigint as ventilator,
            sum(if(kind = 'called', step, 0))::bigint as called,
        from change
        group by site_id, what, ts
    ) c
    window w as (partition by c.site_id, c.what order by c.ts)
),

part as (
    select
        *,
        in_least_run or in_purge or in_defrost or in_ventilator or is_called as is_explained,
        sum(is_explained::int) over (partition by site_id, what order by start_ts) as piece_id,
    from standing
    where is_open
),

longest as (
    select
        site_id,
        what,
        stretch_id,
        arg_max(start_ts, end_ts - start_ts) as start_ts,
        arg_max(end_ts, end_ts - start_ts) as end_ts,
    from (
        select site_id, what, stretch_id, min(start_ts) as start_ts, max(end_ts) as end_ts
        from part
        where not is_explained
        group by site_id, what, stretch_id, piece_id
    )
    group by site_id, what, stretch_id
),

summed as (
    select
        site_id,
        what,
        stretch_id,
        min(start_ts) as on_ts,
        max(end_ts) as off_ts,
        coalesce(sum(end_ts - start_ts) filter (in_least_run), 0)::double / 1e6 as least_run_s,
        coalesce(sum(end_ts - start_ts) filter (in_purge), 0)::double / 1e6 as purge_s,
        coalesce(sum(end_ts - start_ts) filter (in_defrost), 0)::double / 1e6 as defrost_s,
        coalesce(sum(end_ts - start_ts) filter (in_ventilator), 0)::double / 1e6 as ventilator_s,
    from part
    group by site_id, what, stretch_id
)

select
    s.site_id,
    s.what,
    s.on_ts,
    s.off_ts,
    (s.off_ts - s.on_ts) / 1e6 as uncalled_s,
    s.least_run_s,
    s.purge_s,
    s.defrost_s,
    s.ventilator_s,
    l.start_ts,
    l.end_ts,
    coalesce((l.end_ts - l.start_ts) / 1e6, 0) as length_s,
    coalesce(l.end_ts - l.start_ts >= t.uncalled_min_s * 1e6, false) as is_uncalled,
    o.in_visit,
from summed s
join run.threshold t on t.site_id = s.site_id
join open_stretch o on o.site_id = s.site_id and o.what = s.what and o.on_ts = s.on_ts
left join longest l on l.site_id = s.site_id and l.what = s.what and l.stretch_id = s.stretch_id
order by s.site_id, s.on_ts, s.what

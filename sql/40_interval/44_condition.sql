-- one row per stretch in which outputs, fan and calls are all unchanged
/*
holds = "the rows tile the window; stretches with any of the states unknown are there with nulls"

[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
w1 = "BOOLEAN | - | W1 out"
w2 = "BOOLEAN | - | W2 out"
y1 = "BOOLEAN | - | Y1 out"
y2 = "BOOLEAN | - | Y2 out"
aux = "BOOLEAN | - | aux out"
fan_on = "BOOLEAN | - | blower running"
class = "VARCHAR | - | heating, cooling, waiting (fan on, a call stands, nothing heats or cools), purge, fan_only, off, unknown"
source = "VARCHAR | - | burner, strip, compressor or both; heat: inferred, and which cannot be told; null when nothing heats or cools"
stage = "INTEGER | - | 0 nothing on, 1 first, 2 second stage"
n_heat = "BIGINT | - | zones calling for heat; null if not known"
heat_zones = "VARCHAR | - | which, as '1+3'; '' if none"
n_cool = "BIGINT | - | zones calling for cooling"
cool_zones = "VARCHAR | - | which"
n_zones = "BIGINT | - | zones calling in the mode that runs (in purge and off: any)"
zones = "VARCHAR | - | which"
settled_ts = "BIGINT | us | first instant at which dampers have had time to travel since the last change of calls"
in_visit = "BOOLEAN | - | inside a visit"
is_inferred = "BOOLEAN | - | what heats or cools is known only from supply and return temperature"
*/
-- Every edge of every state is one row that adds to or takes from a running sum; so the state at
-- each instant needs no join of ranges.
with

-- columns of a change: on and known counts of each state, calls as a bit per zone and a count
change as (
    select
        s.site_id,
        unnest([s.start_ts, s.end_ts]) as ts,
        unnest([1, -1]) as step,
        s.role as what,
        s.is_on,
        null::integer as zone,
    from signal.state s
    where s.role in ('output_w1', 'output_w2', 'output_y1', 'output_y2', 'output_aux')
    union all
    select f.site_id, unnest([f.start_ts, f.end_ts]), unnest([1, -1]), 'fan', f.is_on, null
    from run_state.fan f
    union all
    select r.site_id, unnest([r.start_ts, r.end_ts]), unnest([1, -1]), 'pump_' || r.mode, true, null
    from interval.source_run r
    where r.source = 'compressor' and not coalesce(r.is_inferred, false)
    union all
    -- inferred runs of the equipment
    select
        r.site_id,
        unnest([r.start_ts, r.end_ts]),
        unnest([1, -1]),
        'made_' || r.source || '_' || r.mode,
        true,
        null,
    from interval.source_run r
    where r.is_inferred
    union all
    select s.site_id, unnest([s.start_ts, s.end_ts]), unnest([1, -1]), s.role, s.is_on, null
    from signal.state s
    where s.role in ('inferred_heat', 'inferred_cool')
    union all
    select c.site_id, unnest([c.start_ts, c.end_ts]), unnest([1, -1]), 'call_' || c.mode, true, c.zone
    from interval.call c
    union all
    -- calls are known where every call channel is, and no call stands whose mode cannot be told
    select s.site_id, unnest([s.start_ts, s.end_ts]), unnest([1, -1]), 'call_channel', true, null
    from signal.state s
    where s.role like 'zone_call_%'
    union all
    select v.site_id, unnest([v.start_ts, v.end_ts]), unnest([1, -1]), 'visit', true, null
    from run.visit v
    union all
    -- a purge may last this long after source and call; then the same fan is fan-only
    select
        r.site_id,
        r.end_ts + ((coalesce(g.value, t.purge_unknown_s) + t.purge_allowance_s) * 1e6)::bigint,
        0,
        'purge_end',
        true,
        null,
    from (
        select site_id, end_ts from interval.source_run
        union
        select site_id, end_ts from interval.call
    ) r
    join run.threshold t on t.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'purge_s' and g.start_ts <= r.end_ts and g.end_ts > r.end_ts
    union all
    select w.site_id, unnest([w.start_ts, w.end_ts]), 0, 'window', true, null
    from run.window w
),

at_once as (
    select
        site_id,
        ts,
        sum(step) filter (what = 'output_w1' and is_on) as w1_on,
        sum(step) filter (what = 'output_w1') as w1_known,
        sum(step) filter (what = 'output_w2' and is_on) as w2_on,
        sum(step) filter (what = 'output_w2') as w2_known,
        sum(step) filter (what = 'output_y1' and is_on) as y1_on,
        sum(step) filter (what = 'output_y1') as y1_known,
        sum(step) filter (what = 'output_y2' and is_on) as y2_on,
        sum(step) filter (what = 'output_y2') as y2_known,
        sum(step) filter (what = 'output_aux' and is_on) as aux_on,
        sum(step) filter (what = 'output_aux') as aux_known,
        sum(step) filter (what = 'fan' and is_on) as fan_on,
        sum(step) filter (what = 'fan') as fan_known,
        sum(step) filter (what = 'pump_heating') as pump_heating,
        sum(step) filter (what = 'pump_cooling') as pump_cooling,
        sum(step) filter (what = 'made_burner_heating') as made_burner,
        sum(step) filter (what = 'made_compressor_heating') as made_pump,
        sum(step) filter (what = 'made_heat_heating') as made_heat,
        sum(step) filter (what = 'made_compressor_cooling') as made_cool,
        sum(step) filter (what = 'inferred_heat') as heat_inferred,
        sum(step) filter (what = 'inferred_cool') as cool_inferred,
        sum(step * (1::bigint << zone)) filter (what = 'call_heating') as heat_mask,
        sum(step) filter (what = 'call_heating') as n_heat,
        sum(step * (1::bigint << zone)) filter (what = 'call_cooling') as cool_mask,
        sum(step) filter (what = 'call_cooling') as n_cool,
        sum(step) filter (what = 'call_unknown') as n_untold,
        sum(step) filter (what = 'call_channel') as call_known,
        sum(step) filter (what = 'visit') as visit,
    from change
    group by site_id, ts
),

-- channels that exist at all; one that is not logged is taken as off, not as unknown
logged as (
    select
        site_id,
        count(*) filter (role like 'zone_call_%') as n_call_channel,
        bool_or(role in ('output_w1', 'output_y1', 'output_aux')) as any_output,
        bool_or(role = 'output_w1') as has_w1,
        bool_or(role = 'output_w2') as has_w2,
        bool_or(role = 'output_y1') as has_y1,
        bool_or(role = 'output_y2') as has_y2,
        bool_or(role = 'output_aux') as has_aux,
    from channel.channel
    where is_primary
    group by site_id
),

inferred as (
    select
        site_id,
        bool_or(role = 'inferred_heat') as infers_heat,
        bool_or(role = 'inferred_cool') as infers_cool,
    from signal.state
    where role in ('inferred_heat', 'inferred_cool')
    group by site_id
),

-- every step up has its step down, so that a site's sums end at nought and the next site's begin there
running as (
    select
        site_id,
        ts as start_ts,
        if(lead(site_id) over () = site_id, lead(ts) over (), null) as end_ts,
        sum(w1_on) over (rows unbounded preceding) as w1_on,
        sum(w1_known) over (rows unbounded preceding) as w1_known,
        sum(w2_on) over (rows unbounded preceding) as w2_on,
        sum(w2_known) over (rows unbounded preceding) as w2_known,
        sum(y1_on) over (rows unbounded preceding) as y1_on,
        sum(y1_known) over (rows unbounded preceding) as y1_known,
        sum(y2_on) over (rows unbounded preceding) as y2_on,
        sum(y2_known) over (rows unbounded preceding) as y2_known,
        sum(aux_on) over (rows unbounded preceding) as aux_on,
        sum(aux_known) over (rows unbounded preceding) as aux_known,
        sum(fan_on) over (rows unbounded preceding) as fan_on,
        sum(fan_known) over (rows unbounded preceding) as fan_known,
        sum(pump_heating) over (rows unbounded preceding) as pump_heating,
        sum(pump_cooling) over (rows unbounded preceding) as pump_cooling,
        sum(made_burner) over (rows unbounded preceding) as made_burner,
        sum(made_pump) over (rows unbounded preceding) as made_pump,
        sum(made_heat) over (rows unbounded preceding) as made_heat,
        sum(made_cool) over (rows unbounded preceding) as made_cool,
        sum(heat_inferred) over (rows unbounded preceding) as heat_inferred,
        sum(cool_inferred) over (rows unbounded preceding) as cool_inferred,
        sum(heat_mask) over (rows unbounded preceding) as heat_mask,
        sum(n_heat) over (rows unbounded preceding) as n_heat,
        sum(cool_mask) over (rows unbounded preceding) as cool_mask,
        sum(n_cool) over (rows unbounded preceding) as n_cool,
        sum(n_untold) over (rows unbounded preceding) as n_untold,
        sum(call_known) over (rows unbounded preceding) as call_known,
        sum(visit) over (rows unbounded preceding) as visit,
    from (select * from at_once order by site_id, ts)
),

standing as (
    select
        a.site_id,
        a.start_ts,
        a.end_ts,
        if(a.w1_known > 0, coalesce(a.w1_on, 0) > 0, if(l.has_w1, null, false)) as w1,
        if(a.w2_known > 0, coalesce(a.w2_on, 0) > 0, if(l.has_w2, null, false)) as w2,
        if(a.y1_known > 0, coalesce(a.y1_on, 0) > 0, if(l.has_y1, null, false)) as y1,
        if(a.y2_known > 0, coalesce(a.y2_on, 0) > 0, if(l.has_y2, null, false)) as y2,
        if(a.aux_known > 0, coalesce(a.aux_on, 0) > 0, if(l.has_aux, null, false)) as aux,
        if(a.fan_known > 0, coalesce(a.fan_on, 0) > 0, null) as fan_on,
        coalesce(a.pump_heating, 0) > 0 as pump_heating,
        coalesce(a.pump_cooling, 0) > 0 as pump_cooling,
        coalesce(a.made_burner, 0) > 0 as made_burner,
        coalesce(a.made_pump, 0) > 0 as made_pump,
        coalesce(a.made_heat, 0) > 0 as made_heat,
        coalesce(a.made_cool, 0) > 0 as made_cool,
        (not coalesce(n.infers_heat, false) or coalesce(a.heat_inferred, 0) > 0)
            and (not coalesce(n.infers_cool, false) or coalesce(a.cool_inferred, 0) > 0)
            as inferred_known,
        l.any_output or n.infers_heat is not null as any_source,
        l.n_call_channel > 0
            and coalesce(a.call_known, 0) = l.n_call_channel
            and coalesce(a.n_untold, 0) = 0 as calls_known,
        coalesce(a.heat_mask, 0)::bigint as heat_mask,
        coalesce(a.n_heat, 0)::bigint as n_heat,
        coalesce(a.cool_mask, 0)::bigint as cool_mask,
        coalesce(a.n_cool, 0)::bigint as n_cool,
        coalesce(a.visit, 0) > 0 as in_visit,
    from running a
    join logged l on l.site_id = a.site_id
    left join inferred n on n.site_id = a.site_id
),

mode as (
    select
        s.*,
        i.has_burner,
        s.made_burner or (coalesce(s.w1, false) and i.has_burner) as burner_on,
        coalesce(s.aux, false) or (coalesce(s.w1, false) and not i.has_burner) as strip_on,
        s.made_pump or (coalesce(s.y1, false) and s.pump_heating) as compressor_heats,
        s.made_cool or (coalesce(s.y1, false) and s.pump_cooling) as compressor_cools,
        s.made_burner or s.made_pump or s.made_heat or s.made_cool as is_inferred,
        coalesce(s.y1, false) and not s.pump_heating and not s.pump_cooling as compressor_unknown,
    from standing s
    join run.site i on i.site_id = s.site_id
    join run.window w on w.site_id = s.site_id
    where s.start_ts >= w.start_ts and s.end_ts <= w.end_ts
),

-- since when neither source nor call has been on, to tell purge from fan-only
rested as (
    select
        *,
        burner_on or strip_on or compressor_heats or compressor_cools or compressor_unknown or made_heat as any_on,
        max(if(any_on, end_ts, null)) over before as source_off_ts,
        max(if(any_on or (calls_known and n_heat + n_cool > 0), end_ts, null)) over before as idle_ts,
        max(if(fan_on is not distinct from false, end_ts, null)) over before as fan_off_ts,
        heat_mask is distinct from lag(heat_mask) over (partition by site_id order by start_ts)
            or cool_mask is distinct from lag(cool_mask) over (partition by site_id order by start_ts)
            as calls_changed,
    from mode
    window before as (
        partition by site_id order by start_ts rows between unbounded preceding and 1 preceding
    )
),

classed as (
    select
        r.*,
        case
            when r.w1 is null or r.w2 is null or r.y1 is null or r.y2 is null or r.aux is null
                or not r.any_source or not r.inferred_known then 'unknown'
            when r.burner_on or r.strip_on or r.compressor_heats or r.made_heat then 'heating'
            when r.compressor_cools then 'cooling'
            when r.compressor_unknown or r.fan_on is null then 'unknown'
            when not r.fan_on then 'off'
            when r.calls_known and r.n_heat + r.n_cool > 0 then 'waiting'
            when
                r.source_off_ts is not null
                and coalesce(r.fan_off_ts, 0) < r.source_off_ts
                and r.start_ts - r.idle_ts
                    < (coalesce(g.value, t.purge_unknown_s) + t.purge_allowance_s) * 1e6
                then 'purge'
            else 'fan_only'
        end as class,
        max(if(r.calls_changed, r.start_ts, null)) over (partition by r.site_id order by r.start_ts)
            + (1e6 * coalesce(d.value, t.damper_travel_unknown_s))::bigint as settled_ts,
    from rested r
    join run.threshold t on t.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'purge_s'
        and g.start_ts <= r.start_ts and g.end_ts > r.start_ts
    left join run.setting d
        on d.site_id = r.site_id and d.name = 'damper_travel_s'
        and d.start_ts <= r.start_ts and d.end_ts > r.start_ts
),

-- a zone's bit as its number: a year has a few dozen sets of zones and 200,000 stretches
zone_set as (
    select mask, array_to_string(list_filter(range(0, 63), lambda z: (mask >> z) & 1 = 1), '+') as zones
    from (
        select heat_mask as mask from classed
        union
        select cool_mask from classed
        union
        select heat_mask | cool_mask from classed
    )
),

named as (
    select
        site_id,
        start_ts,
        end_ts,
        w1,
        w2,
        y1,
        y2,
        aux,
        fan_on,
        class,
        case
            when class not in ('heating', 'cooling') then null
            when (burner_on or strip_on) and (compressor_heats or compressor_cools) then 'both'
            when burner_on then 'burner'
            when strip_on then 'strip'
            when made_heat then 'heat'
            else 'compressor'
        end as source,
        case
            when class not in ('heating', 'cooling') then 0
            when burner_on and coalesce(w2, false) then 2
            when (compressor_heats or compressor_cools) and coalesce(y2, false) then 2
            else 1
        end as stage,
        if(calls_known, n_heat, null) as n_heat,
        if(calls_known, h.zones, null) as heat_zones,
        if(calls_known, n_cool, null) as n_cool,
        if(calls_known, c.zones, null) as cool_zones,
        case
            when not calls_known then null
            when class = 'heating' then n_heat
            when class = 'cooling' then n_cool
            else bit_count(heat_mask | cool_mask)::bigint
        end as n_zones,
        if(
            calls_known,
            case when class = 'heating' then h.zones when class = 'cooling' then c.zones else b.zones end,
            null
        ) as zones,
        settled_ts,
        in_visit,
        is_inferred and class in ('heating', 'cooling') as is_inferred,
    from classed
    join zone_set h on h.mask = heat_mask
    join zone_set c on c.mask = cool_mask
    join zone_set b on b.mask = heat_mask | cool_mask
),

-- an edge that changes nothing here (a fan call, a purge's end with the fan off) parts nothing
parted as (
    select
        n.*,
        max(end_ts) over (partition by site_id) as last_ts,
        row(w1, w2, y1, y2, aux, fan_on, class, heat_zones, cool_zones, settled_ts, in_visit, source, is_inferred)
            is distinct from lag(
                row(w1, w2, y1, y2, aux, fan_on, class, heat_zones, cool_zones, settled_ts, in_visit, source, is_inferred)
            ) over (partition by site_id order by start_ts) as is_new,
    from named n
)

select
    site_id,
    start_ts,
    coalesce(lead(start_ts) over (partition by site_id order by start_ts), last_ts) as end_ts,
    w1,
    w2,
    y1,
    y2,
    aux,
    fan_on,
    class,
    source,
    stage,
    n_heat,
    heat_zones,
    n_cool,
    cool_zones,
    n_zones,
    zones,
    settled_ts,
    in_visit,
    is_inferred,
from parted
where is_new
order by site_id, start_ts

-- one row per local day that touches the window: what ran, how air and rooms stood, and how much of the day was logged
/*
holds = "visits are left out, but for the times logged; a figure whose channels say nothing on that day is null, not nought"

[columns]
day = "DATE | - | local date"
start_ts = "BIGINT | us | local midnight"
end_ts = "BIGINT | us | next local midnight"
day_s = "DOUBLE | s | length of the local day; 23 h and 25 h days exist"
window_s = "DOUBLE | s | of it inside the window"
visit_s = "DOUBLE | s | of it inside visits"
known_s = "DOUBLE | s | of it outside visits: known what ran; null if that is never known"
fan_known_s = "DOUBLE | s | of it outside visits: known whether the blower ran"
outputs_known_s = "DOUBLE | s | of it logged and trusted: the outputs, by the one known least; null if there is none"
calls_known_s = "DOUBLE | s | likewise the zones' calls"
supply_known_s = "DOUBLE | s | likewise supply air"
return_known_s = "DOUBLE | s | likewise return air"
static_known_s = "DOUBLE | s | likewise supply static"
outdoor_known_s = "DOUBLE | s | likewise outdoor air"
rooms_known_s = "DOUBLE | s | likewise the zones' temperatures"
outdoor_f = "DOUBLE | °F | mean outdoor air; null if not known"
outdoor_low_f = "DOUBLE | °F | lowest clock step of outdoor air"
outdoor_high_f = "DOUBLE | °F | highest"
outdoor_night_f = "DOUBLE | °F | mean outdoor air of the first site_day_night_h hours: no sun on sensor or house"
heat_s = "DOUBLE | s | time in which anything heated"
heat_second_s = "DOUBLE | s | of it in second stage"
burner_s = "DOUBLE | s | the burner, alone or with the compressor"
compressor_heat_s = "DOUBLE | s | heating by the compressor alone"
strip_s = "DOUBLE | s | strip heat, alone or with the compressor"
cool_s = "DOUBLE | s | time in which anything cooled"
cool_second_s = "DOUBLE | s | of it in second stage"
fan_s = "DOUBLE | s | time the blower ran"
fan_only_s = "DOUBLE | s | of it with nothing heating or cooling and no purge"
heat_called_s = "DOUBLE | s | time in which a zone called for heat; null if calls are not known"
cool_called_s = "DOUBLE | s | time in which a zone called for cooling"
called_idle_s = "DOUBLE | s | a zone called and nothing heated or cooled"
heat_one_zone_s = "DOUBLE | s | heating with one zone calling"
cool_one_zone_s = "DOUBLE | s | cooling with one zone calling"
n_heat_start = "BIGINT | - | starts of burner and compressor in heating"
n_cool_start = "BIGINT | - | starts in cooling"
n_short_run = "BIGINT | - | short runs of any source"
n_high_trip = "BIGINT | - | trips of the high limit"
n_low_trip = "BIGINT | - | trips of the low limit"
n_cut_out = "BIGINT | - | times burner, strip or compressor stopped with its output on"
n_defrost = "BIGINT | - | defrosts"
n_call = "BIGINT | - | calls that began, all zones"
longest_call_s = "DOUBLE | s | longest call that began on the day"
static_fan_s = "DOUBLE | s | fan time with static known"
above_target_s = "DOUBLE | s | of it above target; null if no target given"
static_high_inwc = "DOUBLE | in. w.c. | highest static with the fan on"
static_heat_one_inwc = "DOUBLE | in. w.c. | mean steady static in first-stage heat with one zone calling; of the burner's heat where there is a burner"
static_heat_two_inwc = "DOUBLE | in. w.c. | likewise two zones"
static_heat_more_inwc = "DOUBLE | in. w.c. | likewise three or more"
static_heat_second_inwc = "DOUBLE | in. w.c. | mean steady static in second-stage heat"
static_cool_one_inwc = "DOUBLE | in. w.c. | mean static in first-stage cooling, the first ten minutes left out, with one zone calling"
static_cool_two_inwc = "DOUBLE | in. w.c. | likewise two zones"
static_cool_more_inwc = "DOUBLE | in. w.c. | likewise three or more"
static_cool_second_inwc = "DOUBLE | in. w.c. | mean static in second-stage cooling"
rise_burner_f = "DOUBLE | °F | mean steady rise of the burner's first stage"
rise_burner_second_f = "DOUBLE | °F | of its second stage"
rise_compressor_f = "DOUBLE | °F | mean steady rise of the compressor's heat, first stage"
split_f = "DOUBLE | °F | mean split in first-stage cooling, the first ten minutes left out"
split_second_f = "DOUBLE | °F | in second-stage cooling"
burner_answer_s = "DOUBLE | s | mean wait from the burner's start to warmer supply air; null if no start was answered"
supply_high_f = "DOUBLE | °F | highest supply air while heating with the blower proven, at whole minutes"
supply_low_f = "DOUBLE | °F | lowest while cooling"
recovery_heat_s = "DOUBLE | s | longest recovery from a setback in heating that began on the day and ended"
recovery_cool_s = "DOUBLE | s | likewise in cooling"
short_heat_degree_h = "DOUBLE | °F h | the worst zone's degree-hours under its heat setpoint by more than the comfort band"
short_cool_degree_h = "DOUBLE | °F h | the worst zone's over its cool setpoint, likewise"
not_keeping_up_s = "DOUBLE | s | the worst zone's time not keeping up; null where neither setpoint nor call was logged"
room_f = "DOUBLE | °F | mean of the zones' temperatures"
heat_setpoint_f = "DOUBLE | °F | mean heat setpoint of the zones"
cool_setpoint_f = "DOUBLE | °F | mean cool setpoint"
*/
-- Only tables of stretches, steps and minutes are read. Those that may reach over midnight are cut
-- at it, looked up by the day's number, so that no stretch is tried against every day.
with

day as (
    select *, row_number() over (partition by site_id order by start_ts) as n from run.day
),

condition_part as (
    select
        c.* exclude (start_ts, end_ts),
        d.day,
        (least(c.end_ts, d.end_ts) - greatest(c.start_ts, d.start_ts)) / 1e6 as s,
    from (
        select c.*, unnest(range(a.n, b.n + 1)) as n
        from interval.condition c
        asof join day a on a.site_id = c.site_id and c.start_ts >= a.start_ts
        asof join day b on b.site_id = c.site_id and c.end_ts - 1 >= b.start_ts
        where not c.in_visit
    ) c
    join day d on d.site_id = c.site_id and d.n = c.n
),

ran as (
    select
        site_id,
        day,
        sum(s) filter (class <> 'unknown') as known_s,
        sum(s) filter (fan_on is not null) as fan_known_s,
        coalesce(sum(s) filter (class = 'heating'), 0) as heat_s,
        coalesce(sum(s) filter (class = 'heating' and stage = 2), 0) as heat_second_s,
        coalesce(sum(s) filter (class = 'heating' and (source = 'burner' or (source = 'both' and has_burner))), 0)
            as burner_s,
        coalesce(sum(s) filter (class = 'heating' and source = 'compressor'), 0) as compressor_heat_s,
        coalesce(sum(s) filter (class = 'heating' and (source = 'strip' or (source = 'both' and not has_burner))), 0)
            as strip_s,
        coalesce(sum(s) filter (class = 'cooling'), 0) as cool_s,
        coalesce(sum(s) filter (class = 'cooling' and stage = 2), 0) as cool_second_s,
        coalesce(sum(s) filter (fan_on), 0) as fan_s,
        coalesce(sum(s) filter (class = 'fan_only'), 0) as fan_only_s,
        if(count(n_heat) > 0, coalesce(sum(s) filter (n_heat > 0), 0), null) as heat_called_s,
        if(count(n_cool) > 0, coalesce(sum(s) filter (n_cool > 0), 0), null) as cool_called_s,
        if(
            count(n_heat) > 0 and count(n_cool) > 0,
            coalesce(sum(s) filter (
                (n_heat > 0 or n_cool > 0) and class not in ('heating', 'cooling', 'unknown')
            ), 0),
            null
        ) as called_idle_s,
        if(count(n_heat) > 0, coalesce(sum(s) filter (class = 'heating' and n_zones = 1), 0), null)
            as heat_one_zone_s,
        if(count(n_cool) > 0, coalesce(sum(s) filter (class = 'cooling' and n_zones = 1), 0), null)
            as cool_one_zone_s,
    from condition_part
    join run.site using (site_id)
    group by site_id, day
),

outdoors as (
    select
        w.site_id,
        d.day,
        sum(w.outdoor_f * (w.end_ts - w.start_ts)) / sum(w.end_ts - w.start_ts) as outdoor_f,
        min(w.outdoor_f) as outdoor_low_f,
        max(w.outdoor_f) as outdoor_high_f,
        avg(w.outdoor_f) filter (w.start_ts < d.start_ts + t.site_day_night_h * 3600e6) as outdoor_night_f,
    from interval.weather w
    join run.threshold t on t.site_id = w.site_id
    asof join run.day d on d.site_id = w.site_id and w.start_ts >= d.start_ts
    group by w.site_id, d.day
),

started as (
    select
        site_id,
        day,
        sum(n_start) filter (mode = 'heating' and source <> 'strip') as n_heat_start,
        sum(n_start) filter (mode = 'cooling') as n_cool_start,
        sum(n_short_run) as n_short_run,
    from measure.source_day
    group by site_id, day
),

event as (
    select site_id, start_ts, kind || '_trip' as what from interval.trip where not in_visit
    union all
    select site_id, start_ts, 'cut_out' from interval.cut_out where not in_visit
    union all
    select site_id, start_ts, 'defrost' from interval.defrost where not in_visit
),

happened as (
    select
        e.site_id,
        d.day,
        count(*) filter (e.what = 'high_trip') as n_high_trip,
        count(*) filter (e.what = 'low_trip') as n_low_trip,
        count(*) filter (e.what = 'cut_out') as n_cut_out,
        count(*) filter (e.what = 'defrost') as n_defrost,
    from event e
    asof join run.day d on d.site_id = e.site_id and e.start_ts >= d.start_ts
    group by e.site_id, d.day
),

called as (
    select
        c.site_id,
        d.day,
        count(*) filter (c.has_start) as n_call,
        max((c.end_ts - c.start_ts) / 1e6) as longest_call_s,
    from interval.call c
    asof join run.day d on d.site_id = c.site_id and c.start_ts >= d.start_ts
    group by c.site_id, d.day
),

answered as (
    select r.site_id, d.day, avg(r.to_heat_s) as burner_answer_s
    from interval.source_response r
    asof join run.day d on d.site_id = r.site_id and r.start_ts >= d.start_ts
    where r.source = 'burner' and not r.in_visit
    group by r.site_id, d.day
),

recovered as (
    select
        r.site_id,
        d.day,
        max((r.end_ts - r.start_ts) / 1e6) filter (r.mode = 'heating') as recovery_heat_s,
        max((r.end_ts - r.start_ts) / 1e6) filter (r.mode = 'cooling') as recovery_cool_s,
    from interval.recovery r
    asof join run.day d on d.site_id = r.site_id and r.start_ts >= d.start_ts
    where r.has_end and not r.in_visit
    group by r.site_id, d.day
),

-- local midnights lie on quarters of an hour, so that quarters are looked up, not minutes
zone_quarter as (
    select
        m.site_id,
        m.zone,
        m.ts // 900000000 * 900000000 as ts,
        count(*) as n,
        sum(m.temp_f) as temp_sum,
        count(m.heat_setpoint_f) as n_heat,
        sum(m.heat_setpoint_f) as heat_setpoint_sum,
        count(m.cool_setpoint_f) as n_cool,
        sum(m.cool_setpoint_f) as cool_setpoint_sum,
        sum(if(m.heat_setpoint_f is null, null, greatest(0, m.heat_setpoint_f - m.temp_f - t.comfort_band_f)))
            as short_heat,
        sum(if(m.cool_setpoint_f is null, null, greatest(0, m.temp_f - m.cool_setpoint_f - t.comfort_band_f)))
            as short_cool,
        max(m.supply_f) filter (m.class = 'heating' and m.is_proven) as supply_high_f,
        min(m.supply_f) filter (m.class = 'cooling' and m.is_proven) as supply_low_f,
    from interval.zone_minute m
    join run.threshold t on t.site_id = m.site_id
    where not m.in_visit
    group by m.site_id, m.zone, m.ts // 900000000
),

zone_day as (
    select
        m.site_id,
        d.day,
        m.zone,
        sum(m.temp_sum) / sum(m.n) as temp_f,
        sum(m.heat_setpoint_sum) / nullif(sum(m.n_heat), 0) as heat_setpoint_f,
        sum(m.cool_setpoint_sum) / nullif(sum(m.n_cool), 0) as cool_setpoint_f,
        sum(m.short_heat) / 60 as short_heat_degree_h,
        sum(m.short_cool) / 60 as short_cool_degree_h,
        max(m.supply_high_f) as supply_high_f,
        min(m.supply_low_f) as supply_low_f,
    from zone_quarter m
    asof join run.day d on d.site_id = m.site_id and m.ts >= d.start_ts
    group by m.site_id, d.day, m.zone
),

roomed as (
    select
        site_id,
        day,
        avg(temp_f) as room_f,
        avg(heat_setpoint_f) as heat_setpoint_f,
        avg(cool_setpoint_f) as cool_setpoint_f,
        max(short_heat_degree_h) as short_heat_degree_h,
        max(short_cool_degree_h) as short_cool_degree_h,
        max(supply_high_f) as supply_high_f,
        min(supply_low_f) as supply_low_f,
    from zone_day
    group by site_id, day
),

lacking as (
    select site_id, day, max(s) as not_keeping_up_s
    from (
        select n.site_id, n.zone, d.day, sum(least(n.end_ts, d.end_ts) - greatest(n.start_ts, d.start_ts)) / 1e6 as s
        from interval.not_keeping_up n
        join run.day d on d.site_id = n.site_id and d.start_ts < n.end_ts and d.end_ts > n.start_ts
        group by n.site_id, n.zone, d.day
    )
    group by site_id, day
)

select
    d.site_id,
    d.day,
    d.start_ts,
    d.end_ts,
    d.day_s,
    d.window_s,
    d.visit_s,
    r.known_s,
    r.fan_known_s,
    d.outputs_known_s,
    d.calls_known_s,
    d.supply_known_s,
    d.return_known_s,
    d.static_known_s,
    d.outdoor_known_s,
    d.rooms_known_s,
    o.* exclude (site_id, day),
    if(r.known_s > 0, r.heat_s, null) as heat_s,
    if(r.known_s > 0, r.heat_second_s, null) as heat_second_s,
    if(r.known_s > 0, r.burner_s, null) as burner_s,
    if(r.known_s > 0, r.compressor_heat_s, null) as compressor_heat_s,
    if(r.known_s > 0, r.strip_s, null) as strip_s,
    if(r.known_s > 0, r.cool_s, null) as cool_s,
    if(r.known_s > 0, r.cool_second_s, null) as cool_second_s,
    if(r.fan_known_s > 0, r.fan_s, null) as fan_s,
    if(r.known_s > 0, r.fan_only_s, null) as fan_only_s,
    r.heat_called_s,
    r.cool_called_s,
    r.called_idle_s,
    r.heat_one_zone_s,
    r.cool_one_zone_s,
    if(r.known_s > 0, coalesce(s.n_heat_start, 0), null)::bigint as n_heat_start,
    if(r.known_s > 0, coalesce(s.n_cool_start, 0), null)::bigint as n_cool_start,
    if(r.known_s > 0, coalesce(s.n_short_run, 0), null)::bigint as n_short_run,
    if(r.known_s > 0 and d.supply_known_s > 0, coalesce(e.n_high_trip, 0), null) as n_high_trip,
    if(r.known_s > 0 and d.supply_known_s > 0, coalesce(e.n_low_trip, 0), null) as n_low_trip,
    if(r.known_s > 0 and d.supply_known_s > 0, coalesce(e.n_cut_out, 0), null) as n_cut_out,
    if(r.known_s > 0 and i.has_heat_pump, coalesce(e.n_defrost, 0), null) as n_defrost,
    if(d.calls_known_s > 0, coalesce(c.n_call, 0), null) as n_call,
    c.longest_call_s,
    x.fan_s as static_fan_s,
    x.above_target_s,
    x.max_inwc as static_high_inwc,
    a.* exclude (site_id, day),
    w.burner_answer_s,
    m.supply_high_f,
    m.supply_low_f,
    k.recovery_heat_s,
    k.recovery_cool_s,
    m.short_heat_degree_h,
    m.short_cool_degree_h,
    coalesce(
        n.not_keeping_up_s,
        if(
            m.heat_setpoint_f is not null or m.cool_setpoint_f is not null or d.calls_known_s > 0,
            0,
            null
        )
    ) as not_keeping_up_s,
    m.room_f,
    m.heat_setpoint_f,
    m.cool_setpoint_f,
from unusual.logged_day d
join run.site i on i.site_id = d.site_id
left join ran r on r.site_id = d.site_id and r.day = d.day
left join outdoors o on o.site_id = d.site_id and o.day = d.day
left join started s on s.site_id = d.site_id and s.day = d.day
left join happened e on e.site_id = d.site_id and e.day = d.day
left join called c on c.site_id = d.site_id and c.day = d.day
left join measure.static_day x on x.site_id = d.site_id and x.day = d.day
left join unusual.air_day a on a.site_id = d.site_id and a.day = d.day
left join answered w on w.site_id = d.site_id and w.day = d.day
left join recovered k on k.site_id = d.site_id and k.day = d.day
left join roomed m on m.site_id = d.site_id and m.day = d.day
left join lacking n on n.site_id = d.site_id and n.day = d.day
order by d.site_id, d.day

-- one row per second-stage start of the burner or the compressor, with what decides whether it was in order
/*
definition = "Each second-stage start against minimum zones and stage-up delay as set at that instant. In order when enough zones call and one has called for the delay or asks for second stage itself; calls broken for under the bridging time are one; the clock starts again after a trip, a compressor wait or a changeover."
needs = ["outputs of both stages", "calls of every zone"]
resolution = "two intervals, and never less than the least tolerance, of the delay; a call that ended less than an interval before the start may have stood at it"
interval_max_s = 60
counted_from = ["output_", "inferred_", "zone_call_"]
not_without = [["output_w2", "output_y2"], ["zone_call_"]]
source = "settings as given by the site file; nothing unknown is judged"

[columns]
source = "VARCHAR | - | burner or compressor"
mode = "VARCHAR | - | heating or cooling"
start_ts = "BIGINT | us | second stage on"
end_ts = "BIGINT | us | second stage off"
length_s = "DOUBLE | s | second stage on for"
n_zones = "BIGINT | - | zones calling in the mode at the start"
n_zones_most = "BIGINT | - | ... and those whose call ended less than an interval of the log before it: they may have called still"
zones = "VARCHAR | - | which"
longest_call_s = "DOUBLE | s | how long the longest of them has called (breaks under the bridge time bridged; after a trip, and where a source stopped while it called, from the restart)"
run_before_s = "DOUBLE | s | how long the source, or before it the other fuel without a stop, has run (clock starts again after a stop)"
stage2_called = "BOOLEAN | - | a zone asks for second stage itself"
delay_setting_s = "DOUBLE | s | stage-up delay in force; null if not given"
min_zones_setting = "DOUBLE | - | minimum zones in force; null if not given"
result = "VARCHAR | - | in order, too few zones, early, or not audited (settings not given, calls not known, emergency heat, second stage only going over to the other fuel); the delay only where the thermostat or the equipment does not stage up"
early_by_s = "DOUBLE | s | how much sooner than the delay by the clock that fits; null unless early"
clock_used = "VARCHAR | - | zone_call or equipment_start: given, or the one that fits more of the site's starts"
stayed_in_s = "DOUBLE | s | longest time on with fewer zones calling than the minimum, or none, or, where the timer runs from the call, with none that has called for the delay; null if not audited"
stayed_in_ts = "BIGINT | us | that time begins; null if there is none"
stayed_in_by_clock = "BOOLEAN | - | for part of that time zones enough called, none of them for the delay; null as stayed_in_s"
is_stayed_in = "BOOLEAN | - | that is beyond the time it may take for certain: an interval of the log is allowed for; null as stayed_in_s"
day = "DATE | - | local date"
in_visit = "BOOLEAN | - | inside a visit"
*/
-- In order: as many zones call as the minimum asks, and one has called for the stage-up delay or asks
-- for second stage itself. What nobody gave is not audited, nor emergency heat.
with

-- heat that only goes over to the other fuel has not stopped: its clock runs on
unbroken as (
    select
        r.*,
        if(p.end_ts > r.start_ts - t.call_bridge_s * 1e6, p.start_ts, r.start_ts) as since_ts,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    asof left join (
        select
            site_id,
            mode,
            start_ts,
            end_ts,
            if(source = 'burner', 'compressor', 'burner') as next_source,
        from interval.source_run
        where source in ('burner', 'compressor') and mode = 'heating'
    ) p
        on p.site_id = r.site_id and p.mode = r.mode and p.next_source = r.source
        and r.start_ts > p.start_ts
),

second as (
    select
        o.site_id,
        if(o.output = 'output_w2', 'burner', 'compressor') as source,
        r.mode,
        o.start_ts,
        o.end_ts,
        o.has_end,
        r.since_ts as source_ts,
        r.in_visit,
        o.is_closed,
    from (
        select *, if(output = 'output_w2', 'burner', 'compressor') as source
        from interval.output_run
        where output in ('output_w2', 'output_y2') and has_start
    ) o
    asof join unbroken r on r.site_id = o.site_id and r.source = o.source and o.start_ts >= r.start_ts
    where r.end_ts > o.start_ts
),

-- at the edge itself: intervals are half-open, so a call that ends in that instant does not count
at_start as (
    select
        s.*,
        s.mode <> 'unknown' and c.n_heat is not null as calls_known,
        c.in_visit as start_in_visit,
    from second s
    asof join interval.condition c on c.site_id = s.site_id and s.start_ts >= c.start_ts
),

-- the clock of a call starts again after a trip
last_trip as (
    select a.site_id, a.source, a.start_ts, x.end_ts as trip_end_ts
    from at_start a
    asof join (select site_id, end_ts from interval.trip) x on x.site_id = a.site_id and a.start_ts >= x.end_ts
),

-- and after a compressor wait or a changeover: the last time before this run that a source stopped. A
-- call that already stood then counts from the start of this run.
last_stop as (
    select a.site_id, a.source, a.start_ts, r.end_ts as stop_ts
    from at_start a
    asof join (select site_id, end_ts from interval.source_run) r
        on r.site_id = a.site_id and a.source_ts >= r.end_ts
),

-- calls by the days they lie in, and an interval on: of a long log not every pair is tried
call_day as (
    select
        b.*,
        coalesce(c.resolution_s, 0) * 1e6 as late_us,
        unnest(range(b.start_ts // 86400000000, (b.end_ts + late_us::bigint) // 86400000000 + 1)) as day_n,
    from interval.bridged_call b
    join measure.coverage c on c.site_id = b.site_id and c.figure = 'staging'
),

-- the zones that call for the mode, and how long the longest of them has. A call and second stage that
-- changed between the same two readings changed in an order that nobody saw: its zone may have called.
calling as (
    select
        site_id,
        source,
        start_ts,
        count(*) filter (is_on) as n_zones,
        string_agg(zone, '+' order by zone) filter (is_on) as zones,
        max(called_s) filter (is_on) as longest_call_s,
        count(distinct zone) as n_zones_most,
        max(called_s) as longest_most_s,
    from (
        select
            a.site_id,
            a.source,
            a.start_ts,
            b.zone,
            b.end_ts > a.start_ts as is_on,
            (
                a.start_ts - greatest(
                    if(b.start_ts < p.stop_ts, a.source_ts, b.start_ts),
                    coalesce(x.trip_end_ts, 0)
                )
            ) / 1e6 as called_s,
        from at_start a
        join call_day b
            on b.site_id = a.site_id and b.mode = a.mode and b.day_n = a.start_ts // 86400000000
            and b.start_ts <= a.start_ts and b.end_ts > a.start_ts - b.late_us
        left join last_trip x
            on x.site_id = a.site_id and x.source = a.source and x.start_ts = a.start_ts
        left join last_stop p
            on p.site_id = a.site_id and p.source = a.source and p.start_ts = a.start_ts
    )
    group by site_id, source, start_ts
),

-- what a zone asks for beside its first stage: second stage of this mode, or emergency heat
asked as (
    select
        a.site_id,
        a.source,
        a.start_ts,
        bool_or(
            s.role = 'zone_call_w2' and a.mode = 'heating'
            or s.role = 'zone_call_y2' and b.zone is not null
        ) as stage2_called,
        bool_or(s.role = 'zone_call_emergency') as emergency_called,
    from at_start a
    join signal.state s
        on s.site_id = a.site_id and s.is_on and s.start_ts <= a.start_ts and s.end_ts > a.start_ts
        and s.role in ('zone_call_w2', 'zone_call_y2', 'zone_call_emergency')
    left join interval.bridged_call b
        on b.site_id = a.site_id and b.zone = s.zone and b.mode = a.mode
        and b.start_ts <= a.start_ts and b.end_ts > a.start_ts
    group by a.site_id, a.source, a.start_ts
),

-- second stage goes over to the other fuel: nothing has come on that was not on
taken_over as (
    select distinct a.site_id, a.source, a.start_ts
    from at_start a
    join second o on o.site_id = a.site_id and o.source <> a.source and o.mode = a.mode
    join run.threshold t on t.site_id = a.site_id
    where o.start_ts < a.start_ts and o.end_ts >= a.start_ts - t.both_fuels_changeover_s * 1e6
),

set_to as (
    select
        a.*,
        v.start_ts is not null as is_taken_over,
        if(a.calls_known, coalesce(l.n_zones, 0), null) as n_zones,
        if(a.calls_known, coalesce(l.n_zones_most, 0), null) as n_zones_most,
        if(a.calls_known, coalesce(l.zones, ''), null) as zones,
        l.longest_call_s,
        l.longest_most_s,
        (a.start_ts - a.source_ts) / 1e6 as run_before_s,
        coalesce(q.stage2_called, false) as stage2_called,
        coalesce(q.emergency_called, false) as emergency_called,
        d.value * 60 as delay_setting_s,
        -- a delay is the panel's only where a timer has a say
        coalesce(y.value_text, 'unknown') not in ('thermostat', 'equipment') as is_delay_audited,
        y.value_text in ('timer', 'both') as is_timer,
        m.value as min_zones_setting,
        k.value_text as clock_setting,
        e.value_text as release_setting,
        greatest(t.stage_tolerance_min_s, 2 * c.resolution_s) as tolerance_s,
        c.resolution_s,
        t.stage2_stays_after_s,
    from at_start a
    join run.threshold t on t.site_id = a.site_id
    join measure.coverage c on c.site_id = a.site_id and c.figure = 'staging'
    left join calling l on l.site_id = a.site_id and l.source = a.source and l.start_ts = a.start_ts
    left join taken_over v
        on v.site_id = a.site_id and v.source = a.source and v.start_ts = a.start_ts
    left join asked q on q.site_id = a.site_id and q.source = a.source and q.start_ts = a.start_ts
    left join run.setting d
        on d.site_id = a.site_id and d.name = 'stage_up_delay_min' and d.start_ts <= a.start_ts and d.end_ts > a.start_ts
    left join run.setting m
        on m.site_id = a.site_id and m.name = 'stage2_min_zones' and m.start_ts <= a.start_ts and m.end_ts > a.start_ts
    left join run.setting y
        on y.site_id = a.site_id and y.name = 'stage_up_by' and y.start_ts <= a.start_ts and y.end_ts > a.start_ts
    left join run.setting k
        on k.site_id = a.site_id and k.name = 'stage_up_clock' and k.start_ts <= a.start_ts and k.end_ts > a.start_ts
    left join run.setting e
        on e.site_id = a.site_id and e.name = 'stage2_release' and e.start_ts <= a.start_ts and e.end_ts > a.start_ts
),

-- without stage_up_clock both are tried, and the one that fits more starts is named
fitting as (
    select
        site_id,
        count(*) filter (longest_call_s >= delay_setting_s - tolerance_s) as n_call_fits,
        count(*) filter (run_before_s >= delay_setting_s - tolerance_s) as n_run_fits,
        median(abs(longest_call_s - delay_setting_s)) as call_miss_s,
        median(abs(run_before_s - delay_setting_s)) as run_miss_s,
    from set_to
    where not start_in_visit
    group by site_id
),

clocked as (
    select
        s.*,
        coalesce(
            s.clock_setting,
            case
                when f.n_call_fits > f.n_run_fits then 'zone_call'
                when f.n_run_fits > f.n_call_fits then 'equipment_start'
                when f.call_miss_s <= f.run_miss_s then 'zone_call'
                else 'equipment_start'
            end,
            'zone_call'
        ) as clock_used,
        if(clock_used = 'zone_call', s.longest_most_s, s.run_before_s) as clock_s,
        coalesce(
            s.is_timer
            and s.clock_setting = 'zone_call'
            and (s.stage2_called or s.longest_most_s >= s.delay_setting_s - s.tolerance_s),
            false
        ) as is_clock_followed,
    from set_to s
    left join fitting f on f.site_id = s.site_id
),

clocked_day as (
    select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
    from clocked
),

-- where the panel's timer runs from the call: when each call that second stage meets can first have lasted
-- for the delay (it may have begun an interval before it was read). A start that was early has its own
-- name, and is not held to its clock again.
ripe as (
    select
        s.site_id,
        s.source,
        s.start_ts,
        b.start_ts as call_ts,
        b.end_ts as call_end_ts,
        greatest(
            if(b.start_ts < p.stop_ts, s.source_ts, b.start_ts), coalesce(x.trip_end_ts, 0)
        ) + ((s.delay_setting_s - coalesce(s.resolution_s, 0)) * 1e6)::bigint as ripe_ts,
    from clocked_day s
    join call_day b
        on b.site_id = s.site_id and b.mode = s.mode and b.day_n = s.day_n
        and b.start_ts < s.end_ts and b.end_ts > s.start_ts
        and s.day_n = greatest(b.start_ts, s.start_ts) // 86400000000
    left join last_trip x
        on x.site_id = s.site_id and x.source = s.source and x.start_ts = s.start_ts
    left join last_stop p
        on p.site_id = s.site_id and p.source = s.source and p.start_ts = s.start_ts
    where s.release_setting = 'follows' and s.is_clock_followed
    union all
    select s.site_id, s.source, s.start_ts, a.start_ts, a.end_ts, a.start_ts
    from clocked s
    join signal.state a
        on a.site_id = s.site_id and a.start_ts < s.end_ts and a.end_ts > s.start_ts
        and a.is_on and a.role in ('zone_call_w2', 'zone_call_y2')
    where s.release_setting = 'follows' and s.is_clock_followed
),

-- conditions during second stage: too few zones for it to go on, or until when none has called long enough
held as (
    select
        s.site_id,
        s.source,
        s.start_ts,
        greatest(c.start_ts, s.start_ts) as from_ts,
        least(c.end_ts, s.end_ts) as until_ts,
        if(s.mode = 'heating', any_value(c.n_heat), any_value(c.n_cool)) as n_left,
        case
            when n_left < coalesce(any_value(s.min_zones_setting), 1) then until_ts
            when n_left is null or not any_value(s.is_clock_followed) then from_ts
            else greatest(from_ts, least(until_ts, coalesce(min(r.ripe_ts), until_ts)))
        end as lacking_ts,
        lacking_ts > from_ts and n_left >= coalesce(any_value(s.min_zones_setting), 1) as by_clock,
    from clocked_day s
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from interval.condition
    ) c
        on c.site_id = s.site_id and c.day_n = s.day_n and c.start_ts < s.end_ts and c.end_ts > s.start_ts
        and s.day_n = greatest(c.start_ts, s.start_ts) // 86400000000
    left join ripe r
        on r.site_id = s.site_id and r.source = s.source and r.start_ts = s.start_ts
        and r.call_ts < least(c.end_ts, s.end_ts) and r.call_end_ts > greatest(c.start_ts, s.start_ts)
    where s.release_setting = 'follows' and s.n_zones_most >= coalesce(s.min_zones_setting, 1)
    group by s.site_id, s.source, s.mode, s.start_ts, s.end_ts, c.start_ts, c.end_ts
),

stayed as (
    select
        site_id,
        source,
        start_ts,
        max(length_us) / 1e6 as lacking_s,
        arg_max(stretch_ts, length_us) as lacking_from_ts,
        arg_max(by_clock, length_us) as lacking_by_clock,
    from (
        select
            site_id,
            source,
            start_ts,
            stretch_id,
            sum(lacking_ts - from_ts) as length_us,
            min(from_ts) filter (lacking_ts > from_ts) as stretch_ts,
            bool_or(by_clock) as by_clock,
        from (
            select
                *,
                coalesce(sum((lacking_ts < until_ts)::int) over (
                    partition by site_id, source, start_ts order by from_ts
                    rows between unbounded preceding and 1 preceding
                ), 0) as stretch_id,
            from held
        )
        group by site_id, source, start_ts, stretch_id
    )
    group by site_id, source, start_ts
)

select
    s.site_id,
    s.source,
    s.mode,
    s.start_ts,
    s.end_ts,
    (s.end_ts - s.start_ts) / 1e6 as length_s,
    s.n_zones,
    s.n_zones_most,
    s.zones,
    s.longest_call_s,
    s.run_before_s,
    s.stage2_called,
    s.delay_setting_s,
    s.min_zones_setting,
    case
        when s.n_zones is null or s.emergency_called or s.is_taken_over then 'not audited'
        when (s.delay_setting_s is null or not s.is_delay_audited) and s.min_zones_setting is null
            then 'not audited'
        when s.n_zones_most < s.min_zones_setting then 'too few zones'
        when s.is_delay_audited and not s.stage2_called
            and coalesce(s.clock_s, 0) < s.delay_setting_s - s.tolerance_s then 'early'
        else 'in order'
    end as result,
    if(result = 'early', s.delay_setting_s - coalesce(s.clock_s, 0), null) as early_by_s,
    s.clock_used,
    case
        when
            s.release_setting = 'follows'
            and s.n_zones is not null
            and not s.emergency_called
            and not (s.is_taken_over and s.n_zones_most < coalesce(s.min_zones_setting, 1))
            then coalesce(l.lacking_s, 0)
    end as stayed_in_s,
    if(stayed_in_s > 0, l.lacking_from_ts, null) as stayed_in_ts,
    if(stayed_in_s is null, null, coalesce(l.lacking_by_clock, false)) as stayed_in_by_clock,
    stayed_in_s >= s.stage2_stays_after_s + s.resolution_s as is_stayed_in,
    d.day,
    s.start_in_visit as in_visit,
from clocked s
join run.day d on d.site_id = s.site_id and s.start_ts >= d.start_ts and s.start_ts < d.end_ts
left join stayed l on l.site_id = s.site_id and l.source = s.source and l.start_ts = s.start_ts
order by s.site_id, s.start_ts, s.source

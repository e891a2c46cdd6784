-- one row per setting or equipment timer that the log shows, given or not
/*
definition = "What the system did, event by event, offered as what it may be set to: middle event and the middle half. Nothing is judged by it. Steady: enough events, and their middle half is narrow."
needs = ["what each rests on: second-stage starts, trips, cut-outs, heating starts and outdoor air, relief openings, compressor rests, the fan after heat, defrosts"]
resolution = "one interval of the slowest channel it rests on, at each end"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "how many and how narrow: run.threshold; ours"

[columns]
name = "VARCHAR | - | key under [settings]; or changeover_f, equipment_limit_f, equipment_stage_min, defrost_between_min, which have none"
value = "DOUBLE | as named | middle of the events; stage2_min_zones: the fewest; changeover_f: the temperature that parts the two fuels' starts best"
low = "DOUBLE | as named | a quarter of the events is below; changeover_f: the next start on the cold side"
high = "DOUBLE | as named | a quarter is above; changeover_f: the next start on the warm side"
n_event = "BIGINT | - | events it rests on, visits left out"
is_steady = "BOOLEAN | - | enough of them, close enough together to be offered"
basis = "VARCHAR | - | what was looked at, in words"
given = "DOUBLE | as named | what the site file gives, in force at the window's end (changeover_f: the low balance point); null if it does not"
coverage = "DOUBLE | share | measure.coverage of what it rests on"
resolution_s = "DOUBLE | s | the same"
*/
with

-- the clock whose starts agree best is the panel's
staged as (
    select
        s.site_id,
        unnest(['zone call', 'equipment start']) as clock,
        unnest([s.longest_call_s, s.run_before_s]) / 60 as value,
    from measure.stage_up s
    where not s.in_visit and not s.stage2_called and s.n_zones > 0
),

delay as (
    select
        site_id,
        'stage_up_delay_min' as name,
        median(value) as value,
        quantile_cont(value, 0.25) as low,
        quantile_cont(value, 0.75) as high,
        count(value) as n_event,
        'second-stage starts, by the clock of the ' || clock as basis,
        'staging' as figure,
    from staged
    group by site_id, clock
    having count(value) > 0
    qualify row_number() over (
        partition by site_id
        order by quantile_cont(value, 0.75) - quantile_cont(value, 0.25), clock desc
    ) = 1
),

event as (
    select site_id, if(kind = 'high', 'high_limit_f', 'low_limit_f') as name, peak_f as value,
        'supply at the panel''s trips' as basis, 'trips' as figure
    from interval.trip
    where not in_visit
    union all
    select site_id, 'equipment_limit_f', peak_f, 'supply where the ' || source || ' stopped by itself', 'cut_outs'
    from interval.cut_out
    where not in_visit and source = 'burner'
    union all
    select site_id, 'static_target_inwc', static_inwc, 'static as relief dampers opened', 'static'
    from interval.relief
    where not in_visit and static_inwc is not null
    union all
    select site_id, 'purge_s', purge_fan_s, 'fan after heat or cooling, where it stopped in time', 'fan'
    from measure.purge
    where not in_visit and purge_fan_s < (purge_until_ts - end_ts) / 1e6
    union all
    select site_id, 'equipment_stage_min', step_after_s / 60, 'steps of static and supply after W1, W2 never on', 'static'
    from measure.equipment_stage
    where is_repeatable and not in_visit
    union all
    select site_id, 'defrost_between_min', run_s / 60, 'compressor heat between defrosts', 'outdoor'
    from interval.defrost
    where not in_visit
),

middle as (
    select
        site_id,
        name,
        median(value) as value,
        quantile_cont(value, 0.25) as low,
        quantile_cont(value, 0.75) as high,
        count(*) as n_event,
        any_value(basis) as basis,
        any_value(figure) as figure,
    from event
    group by site_id, name
),

-- the shortest rests heap at the timer's own value, because calls were waiting
rest as (
    select r.site_id, r.rest_before_s / 60 as value, w.low_s / 60 as low_min
    from interval.source_run r
    join (
        select site_id, quantile_disc(rest_before_s, 0.05) as low_s
        from interval.source_run
        where source = 'compressor' and rest_before_s is not null and not in_visit
        group by site_id
    ) w on w.site_id = r.site_id
    where r.source = 'compressor' and r.rest_before_s is not null and not r.in_visit
),

heap as (
    select
        r.site_id,
        'compressor_min_off_min' as name,
        median(r.value) as value,
        quantile_cont(r.value, 0.25) as low,
        quantile_cont(r.value, 0.75) as high,
        count(*) as n_event,
        'shortest compressor rests' as basis,
        'outputs' as figure,
    from rest r
    join run.threshold t on t.site_id = r.site_id
    where abs(r.value - r.low_min) <= t.setting_seen_timer_s / 60
    group by r.site_id
),

fewest as (
    select
        s.site_id,
        'stage2_min_zones' as name,
        min(s.n_zones)::double as value,
        quantile_cont(s.n_zones, 0.25) as low,
        quantile_cont(s.n_zones, 0.75) as high,
        count(*) as n_event,
        'zones calling at second-stage starts' as basis,
        'staging' as figure,
    from measure.stage_up s
    where not s.in_visit and s.n_zones > 0
    group by s.site_id
),

-- dual fuel: the outdoor temperature that parts compressor starts (above) from furnace starts (below)
start as (
    select
        b.site_id,
        b.outdoor_f,
        (b.source = 'compressor')::int as is_pump,
    from measure.balance b
    where b.is_first and b.outdoor_f is not null and b.excuse is null and not b.in_visit
        and b.source in ('compressor', 'burner')
),

counted as (
    select
        site_id,
        outdoor_f,
        lead(outdoor_f) over (partition by site_id order by outdoor_f) as next_f,
        -- with the change right above this start: compressor starts below it, furnace starts above it
        sum(is_pump) over (partition by site_id order by outdoor_f, is_pump rows unbounded preceding)
            + sum(1 - is_pump) over (partition by site_id)
            - sum(1 - is_pump) over (partition by site_id order by outdoor_f, is_pump rows unbounded preceding)
            as n_wrong,
        sum(is_pump) over (partition by site_id) as n_pump,
        sum(1 - is_pump) over (partition by site_id) as n_burner,
    from start
),

changeover as (
    select
        c.site_id,
        'changeover_f' as name,
        (arg_min(c.outdoor_f, c.n_wrong) + arg_min(c.next_f, c.n_wrong)) / 2 as value,
        arg_min(c.outdoor_f, c.n_wrong) as low,
        arg_min(c.next_f, c.n_wrong) as high,
        any_value(c.n_pump + c.n_burner)::bigint as n_event,
        'furnace and compressor starts by outdoor air; '
            || printf('%d', min(c.n_wrong)::bigint) || ' on the other side' as basis,
        'outdoor' as figure,
        min(c.n_wrong) <= any_value(t.setting_seen_wrong_share * least(c.n_pump, c.n_burner)) as is_parted,
    from counted c
    join run.threshold t on t.site_id = c.site_id
    where c.n_pump >= t.setting_seen_min_events and c.n_burner >= t.setting_seen_min_events
        and c.next_f > c.outdoor_f
    group by c.site_id
),

told as (
    select *, null::boolean as is_parted from delay
    union all
    select *, null from middle
    union all
    select *, null from heap
    union all
    select *, null from fewest
    union all
    select site_id, name, value, low, high, n_event, basis, figure, is_parted from changeover
)

select
    s.site_id,
    s.name,
    s.value,
    s.low,
    s.high,
    s.n_event,
    s.n_event >= t.setting_seen_min_events and case
        when s.name = 'stage2_min_zones' then true
        when s.name = 'changeover_f' then s.is_parted
        -- rests end at a timer to the second; a heap that is wider is how the house cycles
        when s.name = 'compressor_min_off_min'
            then s.high - s.low <= greatest(t.setting_seen_heap_s, 2 * v.resolution_s) / 60
        when s.name like '%_min' then s.high - s.low <= 2 * greatest(t.setting_seen_timer_s, v.resolution_s) / 60
        when s.name like '%_s' then s.high - s.low <= 2 * greatest(t.setting_seen_timer_s, v.resolution_s)
        when s.name like '%_inwc' then s.high - s.low <= t.setting_seen_static_inwc
        else s.high - s.low <= t.limit_cluster_f
    end as is_steady,
    s.basis,
    g.value as given,
    v.coverage,
    v.resolution_s,
from told s
join run.threshold t on t.site_id = s.site_id
join run.window w on w.site_id = s.site_id
left join measure.coverage v on v.site_id = s.site_id and v.figure = s.figure
left join run.setting g
    on g.site_id = s.site_id
    and g.name = if(s.name = 'changeover_f', 'low_balance_f', s.name)
    and g.start_ts < w.end_ts and g.end_ts >= w.end_ts
order by s.site_id, s.name

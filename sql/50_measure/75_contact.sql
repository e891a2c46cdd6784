-- one row per time a fault contact or float switch stood in alarm, or 24 V was gone
/*
definition = "Each alarm of the fault contact or the float switch and each loss of 24 V that lasts as long as a contact must to be believed; pulses shorter than that in a group are one flash code, with their number. With it what ran before and after."
needs = ["fault contact, float switch or 24 V"]
resolution = "one interval of the contact's channel"
interval_max_s = 10
counted_from = ["fault_contact", "float_switch", "voltage_24"]
source = "times: run.threshold; common practice, no source"

[columns]
contact = "VARCHAR | - | fault_contact, float_switch or voltage_24"
start_ts = "BIGINT | us | in alarm (24 V gone) from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length"
n_pulse = "BIGINT | - | 1; in a flash code the pulses"
is_flash_code = "BOOLEAN | - | short pulses in a group"
ended_by = "VARCHAR | - | itself, visit, or open (its end was not seen)"
class_before = "VARCHAR | - | interval.condition as it began"
source_before = "VARCHAR | - | what ran; null if nothing"
stage_before = "INTEGER | - | stage"
zones_before = "VARCHAR | - | zones calling"
ran_before_s = "DOUBLE | s | in the time before: heating or cooling"
supply_high_f = "DOUBLE | °F | in the time before: highest supply; null if not logged"
static_max_inwc = "DOUBLE | in. w.c. | in the time before: highest static; null if not logged"
outdoor_f = "DOUBLE | °F | outdoor air as it began; null if not known"
stopped_s = "DOUBLE | s | in it: a zone called and nothing ran"
back_after_s = "DOUBLE | s | from its end until heating or cooling again; null if not within the time after"
in_visit = "BOOLEAN | - | begins inside a visit"
*/
with

alarm as (
    select
        s.site_id,
        s.role as contact,
        s.start_ts,
        s.end_ts,
        coalesce(lead(s.start_ts) over w = s.end_ts, false) as end_seen,
        s.is_on <> (s.role = 'voltage_24') as is_alarm,
    from signal.state s
    where s.role in ('fault_contact', 'float_switch', 'voltage_24')
    window w as (partition by s.site_id, s.channel_id order by s.start_ts)
),

grouped as (
    select
        a.*,
        coalesce(
            a.start_ts - lag(a.end_ts) over w > t.contact_pulse_gap_s * 1e6
                or a.end_ts - a.start_ts >= t.contact_pulse_s * 1e6
                or lag(a.end_ts - a.start_ts) over w >= t.contact_pulse_s * 1e6,
            true
        )::int as is_new,
    from alarm a
    join run.threshold t on t.site_id = a.site_id
    where a.is_alarm
    window w as (partition by a.site_id, a.contact order by a.start_ts)
),

told as (
    select
        g.site_id,
        g.contact,
        min(g.start_ts) as start_ts,
        max(g.end_ts) as end_ts,
        count(*) as n_pulse,
        arg_max(g.end_seen, g.start_ts) as end_seen,
    from (
        select *, sum(is_new) over (partition by site_id, contact order by start_ts) as group_id
        from grouped
    ) g
    join run.threshold t on t.site_id = g.site_id
    group by g.site_id, g.contact, g.group_id, t.contact_debounce_s
    having count(*) > 1 or max(g.end_ts) - min(g.start_ts) >= t.contact_debounce_s * 1e6
),

placed as (
    select
        a.*,
        c.class,
        c.source,
        c.stage,
        c.zones,
        c.in_visit,
        a.start_ts - (t.contact_before_s * 1e6)::bigint as before_ts,
        a.end_ts + (t.contact_before_s * 1e6)::bigint as after_ts,
    from told a
    join run.threshold t on t.site_id = a.site_id
    asof left join interval.condition c on c.site_id = a.site_id and a.start_ts > c.start_ts
),

ran as (
    select
        p.site_id,
        p.contact,
        p.start_ts,
        coalesce(sum(least(c.end_ts, p.start_ts) - greatest(c.start_ts, p.before_ts)) filter (
            c.class in ('heating', 'cooling') and c.start_ts < p.start_ts
        ), 0)::double / 1e6 as ran_before_s,
        coalesce(sum(least(c.end_ts, p.end_ts) - greatest(c.start_ts, p.start_ts)) filter (
            c.class in ('waiting', 'off') and c.n_heat + c.n_cool > 0
            and c.end_ts > p.start_ts and c.start_ts < p.end_ts
        ), 0)::double / 1e6 as stopped_s,
        (min(greatest(c.start_ts, p.end_ts)) filter (
            c.class in ('heating', 'cooling') and c.end_ts > p.end_ts
        ) - p.end_ts) / 1e6 as back_after_s,
    from placed p
    join interval.condition c
        on c.site_id = p.site_id and c.start_ts < p.after_ts and c.end_ts > p.before_ts
    group by p.site_id, p.contact, p.start_ts, p.end_ts
),

seen as (
    select
        p.site_id,
        p.contact,
        p.start_ts,
        max(v.start_value) filter (v.role = 'supply_temp') as supply_high_f,
        max(v.start_value) filter (v.role = 'static_pressure') as static_max_inwc,
    from placed p
    join signal.piece v
        on v.site_id = p.site_id
        and v.role in ('supply_temp', 'static_pressure')
        and v.start_ts >= p.before_ts
        and v.start_ts <= p.start_ts
    group by p.site_id, p.contact, p.start_ts
)

select
    p.site_id,
    p.contact,
    p.start_ts,
    p.end_ts,
    (p.end_ts - p.start_ts) / 1e6 as length_s,
    p.n_pulse,
    p.n_pulse > 1 as is_flash_code,
    case
        when not p.end_seen then 'open'
        when exists (
            from run.visit v
            where v.site_id = p.site_id and v.start_ts <= p.end_ts and v.end_ts >= p.end_ts
        ) then 'visit'
        else 'itself'
    end as ended_by,
    p.class as class_before,
    p.source as source_before,
    p.stage as stage_before,
    p.zones as zones_before,
    r.ran_before_s,
    s.supply_high_f,
    s.static_max_inwc,
    if(o.end_ts > p.start_ts, o.outdoor_f, null) as outdoor_f,
    r.stopped_s,
    r.back_after_s,
    coalesce(p.in_visit, false) as in_visit,
from placed p
left join ran r on r.site_id = p.site_id and r.contact = p.contact and r.start_ts = p.start_ts
left join seen s on s.site_id = p.site_id and s.contact = p.contact and s.start_ts = p.start_ts
asof left join interval.weather o on o.site_id = p.site_id and p.start_ts >= o.start_ts
order by p.site_id, p.start_ts, p.contact

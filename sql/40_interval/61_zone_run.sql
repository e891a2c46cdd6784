-- one row per zone and stretch of heating or cooling during which its own call did not change
/*
[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
start_ts = "BIGINT | us | heating or cooling ran, and the zone's call stood as it does, from here"
end_ts = "BIGINT | us | until"
is_calling = "BOOLEAN | - | the zone itself called for the mode"
damper = "VARCHAR | - | open, closed or moved: as shown most of the time, travel left out; null if not logged"
warm_s = "DOUBLE | s | whole minutes with supply proven and off the room by enough, as seconds"
slope_f_per_h = "DOUBLE | °F/h | of the room in those minutes, towards the setpoint (heating up, cooling down); null if too few"
slope_before_f_per_h = "DOUBLE | °F/h | of the room in the time before, nothing heating or cooling it; null if too few minutes or its own call came before"
supply_off_room_f = "DOUBLE | °F | mean distance of supply from the room in those minutes"
temp_f = "DOUBLE | °F | mean room in those minutes"
is_night = "BOOLEAN | - | begins between 22:00 and 06:00 local time"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

per_zone as (
    select
        c.site_id,
        z.zone,
        c.start_ts,
        c.end_ts,
        if(c.class in ('heating', 'cooling') and c.n_zones is not null, c.class, null) as mode,
        '+' || c.zones || '+' like '%+' || z.zone || '+%' as is_calling,
        c.in_visit,
    from interval.condition c
    join run.zone z on z.site_id = c.site_id
),

parted as (
    select
        *,
        (
            mode is distinct from lag(mode) over w or is_calling is distinct from lag(is_calling) over w
        )::int as is_new,
    from per_zone
    window w as (partition by site_id, zone order by start_ts)
),

stretch as (
    select
        site_id,
        zone,
        mode,
        is_calling,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        bool_or(in_visit) as in_visit,
    from (
        select *, sum(is_new) over (partition by site_id, zone order by start_ts) as stretch_id
        from parted
    )
    where mode is not null
    group by site_id, zone, mode, is_calling, stretch_id
),

inside as (
    select
        r.site_id,
        r.zone,
        r.start_ts,
        count(*) * 60e0 as warm_s,
        regr_slope(m.temp_f, (m.ts - r.start_ts) / 3.6e9) as slope,
        avg(abs(m.supply_f - m.temp_f)) as supply_off_room_f,
        avg(m.temp_f) as temp_f,
    from interval.zone_minute m
    join run.threshold t on t.site_id = m.site_id
    asof join stretch r on r.site_id = m.site_id and r.zone = m.zone and m.ts >= r.start_ts
    where
        m.ts < r.end_ts
        and m.is_proven
        and if(r.mode = 'heating', m.supply_f - m.temp_f, m.temp_f - m.supply_f) >= t.supply_off_room_f
    group by r.site_id, r.zone, r.start_ts
),

-- the last time before a stretch that the zone itself called while its mode ran
own as (
    select r.site_id, r.zone, r.start_ts, max(k.end_ts) as own_end_ts
    from stretch r
    asof join (select * from stretch where is_calling) k
        on k.site_id = r.site_id and k.zone = r.zone and r.start_ts > k.start_ts
    group by r.site_id, r.zone, r.start_ts
),

before as (
    select
        r.site_id,
        r.zone,
        r.start_ts,
        count(*) * 60e0 as idle_s,
        regr_slope(m.temp_f, (m.ts - r.start_ts) / 3.6e9) as slope,
    from interval.zone_minute m
    join run.threshold t on t.site_id = m.site_id
    asof join stretch r on r.site_id = m.site_id and r.zone = m.zone and m.ts < r.start_ts
    left join own o on o.site_id = r.site_id and o.zone = r.zone and o.start_ts = r.start_ts
    where
        r.start_ts - m.ts <= t.zone_before_s * 1e6
        and m.class not in ('heating', 'cooling', 'unknown')
        and coalesce(r.start_ts - o.own_end_ts >= t.zone_before_s * 1e6, true)
    group by r.site_id, r.zone, r.start_ts
),

-- looked up by the day both lie in: of a long log not every pair is tried
damper_day as (
    select
        site_id,
        zone,
        is_on,
        start_ts,
        end_ts,
        unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n,
    from signal.state
    where role = 'zone_damper'
),

damper as (
    select
        r.site_id,
        r.zone,
        r.start_ts,
        sum(length_us) filter (is_on) as open_us,
        sum(length_us) as known_us,
    from (
        select
            r.site_id,
            r.zone,
            r.start_ts,
            s.is_on,
            least(s.end_ts, r.end_ts) - greatest(s.start_ts, r.start_ts + travel_us) as length_us,
        from (
            select
                r.*,
                ((coalesce(g.value, t.damper_travel_unknown_s) + t.damper_settle_allowance_s) * 1e6)::bigint
                    as travel_us,
                unnest(range(r.start_ts // 86400000000, (r.end_ts - 1) // 86400000000 + 1)) as day_n,
            from stretch r
            join run.threshold t on t.site_id = r.site_id
            left join run.setting g
                on g.site_id = r.site_id and g.name = 'damper_travel_s'
                and g.start_ts <= r.start_ts and g.end_ts > r.start_ts
        ) r
        join damper_day s
            on s.site_id = r.site_id and s.zone = r.zone and s.day_n = r.day_n
            and s.start_ts < r.end_ts and s.end_ts > r.start_ts + travel_us
            and s.day_n = greatest(s.start_ts, r.start_ts) // 86400000000
    ) r
    where length_us > 0
    group by r.site_id, r.zone, r.start_ts
)

select
    r.site_id,
    r.zone,
    r.mode,
    r.start_ts,
    r.end_ts,
    r.is_calling,
    case
        when d.known_us is null then null
        when coalesce(d.open_us, 0) >= 0.9 * d.known_us then 'open'
        when coalesce(d.open_us, 0) <= 0.1 * d.known_us then 'closed'
        else 'moved'
    end as damper,
    coalesce(i.warm_s, 0) as warm_s,
    if(i.warm_s >= t.zone_slope_min_s, i.slope * if(r.mode = 'heating', 1, -1), null) as slope_f_per_h,
    if(b.idle_s >= t.zone_drift_min_s, b.slope * if(r.mode = 'heating', 1, -1), null)
        as slope_before_f_per_h,
    i.supply_off_room_f,
    i.temp_f,
    -- hours since local midnight: on the two days a year that clocks change an hour either way
    coalesce(
        r.start_ts < y.end_ts
        and ((r.start_ts - y.start_ts) / 3.6e9 < 6 or (y.end_ts - r.start_ts) / 3.6e9 <= 2),
        false
    ) as is_night,
    r.in_visit,
from stretch r
join run.threshold t on t.site_id = r.site_id
asof left join run.day y on y.site_id = r.site_id and r.start_ts >= y.start_ts
left join inside i on i.site_id = r.site_id and i.zone = r.zone and i.start_ts = r.start_ts
left join before b on b.site_id = r.site_id and b.zone = r.zone and b.start_ts = r.start_ts
left join damper d on d.site_id = r.site_id and d.zone = r.zone and d.start_ts = r.start_ts
order by r.site_id, r.zone, r.start_ts

-- one row per local day with steady air outside visits: static, rise and split by what ran
/*
holds = "a figure needs site_day_air_min_s of such air on the day, else it is null"

[columns]
day = "DATE | - | local date"
static_heat_one_inwc = "DOUBLE | in. w.c. | mean steady static in first-stage heat with one zone calling; of the burner's heat where there is a burner"
static_heat_two_inwc = "DOUBLE | in. w.c. | likewise two zones"
static_heat_more_inwc = "DOUBLE | in. w.c. | likewise three or more"
static_heat_second_inwc = "DOUBLE | in. w.c. | mean steady static in second-stage heat"
static_cool_one_inwc = "DOUBLE | in. w.c. | mean static in first-stage cooling with one zone calling, the first ten minutes left out"
static_cool_two_inwc = "DOUBLE | in. w.c. | likewise two zones"
static_cool_more_inwc = "DOUBLE | in. w.c. | likewise three or more"
static_cool_second_inwc = "DOUBLE | in. w.c. | mean static in second-stage cooling"
rise_burner_f = "DOUBLE | °F | mean steady rise of the burner's first stage"
rise_burner_second_f = "DOUBLE | °F | of its second stage"
rise_compressor_f = "DOUBLE | °F | of the compressor's heat, first stage"
split_f = "DOUBLE | °F | mean split in first-stage cooling, the first ten minutes left out"
split_second_f = "DOUBLE | °F | in second-stage cooling"
*/
with

air as (
    select
        a.site_id,
        a.day,
        a.mode,
        a.source,
        a.stage,
        a.n_zones,
        a.s,
        a.rise_f,
        a.static_inwc,
        -- fan speeds differ by source: static is told of one of them
        coalesce(a.source in (if(i.has_burner, 'burner', 'compressor'), 'heat'), false) as is_main,
    from interval.steady_air a
    join run.site i on i.site_id = a.site_id
    where a.mode = 'heating' and not a.in_visit
    union all
    select
        c.site_id,
        d.day,
        'cooling',
        'compressor',
        c.stage,
        c.n_zones,
        c.s,
        c.split_f,
        c.static_inwc,
        true,
    from interval.cooling_split c
    asof join run.day d on d.site_id = c.site_id and c.start_ts >= d.start_ts
    where not c.in_visit
),

static_level as (
    select
        a.site_id,
        a.day,
        a.mode || case
            when a.stage = 2 then '_second'
            when a.n_zones >= 3 then '_more'
            when a.n_zones = 2 then '_two'
            else '_one'
        end as what,
        sum(a.s * a.static_inwc) / sum(a.s) as inwc,
    from air a
    join run.threshold t on t.site_id = a.site_id
    where a.is_main and a.static_inwc is not null and (a.stage = 2 or a.n_zones >= 1)
    group by a.site_id, a.day, what, t.site_day_air_min_s
    having sum(a.s) >= t.site_day_air_min_s
),

rise_level as (
    select
        a.site_id,
        a.day,
        a.mode || '_' || a.source || if(a.stage = 2, '_second', '') as what,
        sum(a.s * a.rise_f) / sum(a.s) as rise_f,
    from air a
    join run.threshold t on t.site_id = a.site_id
    where a.rise_f is not null
    group by a.site_id, a.day, what, t.site_day_air_min_s
    having sum(a.s) >= t.site_day_air_min_s
),

level as (
    select site_id, day, what, inwc, null::double as rise_f from static_level
    union all
    select site_id, day, what, null, rise_f from rise_level
)

select
    site_id,
    day,
    max(inwc) filter (what = 'heating_one') as static_heat_one_inwc,
    max(inwc) filter (what = 'heating_two') as static_heat_two_inwc,
    max(inwc) filter (what = 'heating_more') as static_heat_more_inwc,
    max(inwc) filter (what = 'heating_second') as static_heat_second_inwc,
    max(inwc) filter (what = 'cooling_one') as static_cool_one_inwc,
    max(inwc) filter (what = 'cooling_two') as static_cool_two_inwc,
    max(inwc) filter (what = 'cooling_more') as static_cool_more_inwc,
    max(inwc) filter (what = 'cooling_second') as static_cool_second_inwc,
    max(rise_f) filter (what = 'heating_burner') as rise_burner_f,
    max(rise_f) filter (what = 'heating_burner_second') as rise_burner_second_f,
    max(rise_f) filter (what = 'heating_compressor') as rise_compressor_f,
    max(rise_f) filter (what = 'cooling_compressor') as split_f,
    max(rise_f) filter (what = 'cooling_compressor_second') as split_second_f,
from level
group by site_id, day
order by site_id, day

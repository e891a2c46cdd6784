-- one row per site with a static target: what relief did, and whether the target can be held at all; visits left out
/*
definition = "Excursions that count, by what relief did about them (interval.relief_answer); and hours of the clock with all zones calling, dampers settled, in which static was above target most of the time: a target below what the ducts need."
needs = ["supply static", "fan", "outputs", "calls of every zone", "dampers of relief zones (else only whether static fell)"]
resolution = "one interval of the static channel"
interval_max_s = 30
counted_from = ["static_pressure"]
source = "run.setting; travel, wait and half a minute: common practice, no source"

[columns]
n_excursion = "BIGINT | - | excursions in heating or cooling, calls known"
n_answered = "BIGINT | - | in time"
n_late = "BIGINT | - | later than relief may take, within twice that"
n_missing = "BIGINT | - | not within twice that, a relief zone free and none open"
n_no_fall_seen = "BIGINT | - | the same where dampers are not logged"
n_used_up = "BIGINT | - | every free relief damper open and still over"
n_not_possible = "BIGINT | - | no relief zone free"
n_open_already = "BIGINT | - | a relief damper stood open from before"
n_not_judged = "BIGINT | - | ended or changed before relief was due, or fell with a bypass"
n_purge = "BIGINT | - | excursions in purge, not among n_excursion"
answer_s = "DOUBLE | s | median time to the answer"
used_up_s = "DOUBLE | s | above target plus margin with every free relief damper open"
all_calling_s = "DOUBLE | s | all zones calling, dampers settled, heating or cooling"
all_calling_above_s = "DOUBLE | s | of it above target"
n_hour = "BIGINT | - | clock hours with enough of it"
n_hour_above = "BIGINT | - | of those, above target for more than half of it"
coverage = "DOUBLE | share | lower of measure.coverage of static and of conditions"
resolution_s = "DOUBLE | s | slower of the two"
*/
with

told as (
    select
        site_id,
        count(*) filter (outcome not in ('purge', 'not heating or cooling', 'calls not known')) as n_excursion,
        count(*) filter (outcome = 'answered') as n_answered,
        count(*) filter (outcome = 'late') as n_late,
        count(*) filter (outcome = 'missing') as n_missing,
        count(*) filter (outcome = 'no fall seen') as n_no_fall_seen,
        count(*) filter (outcome = 'used up') as n_used_up,
        count(*) filter (outcome = 'not possible') as n_not_possible,
        count(*) filter (outcome = 'open already') as n_open_already,
        count(*) filter (outcome in ('ended first', 'changed first', 'fell with a bypass')) as n_not_judged,
        count(*) filter (outcome = 'purge') as n_purge,
        median(answer_s) filter (outcome in ('answered', 'late')) as answer_s,
        sum(over_used_up_s) filter (outcome not in ('purge', 'not heating or cooling', 'calls not known'))
            as used_up_s,
    from interval.relief_answer
    where not in_visit
    group by site_id
),

zone_count as (
    select site_id, count(*) as n_zone from run.zone group by site_id
),

hour as (
    select
        p.site_id,
        p.start_ts // 3600000000 as hour,
        sum(p.end_ts - p.start_ts) / 1e6 as s,
        sum(p.above_s) as above_s,
    from interval.static_piece p
    join zone_count z on z.site_id = p.site_id
    where
        p.fan_on and p.is_settled and not p.in_visit and p.target_inwc is not null
        and p.class in ('heating', 'cooling') and p.n_zones = z.n_zone
    group by p.site_id, p.start_ts // 3600000000
),

needed as (
    select
        h.site_id,
        sum(h.s) as all_calling_s,
        sum(h.above_s) as all_calling_above_s,
        count(*) filter (h.s >= t.target_hour_min_s) as n_hour,
        count(*) filter (h.s >= t.target_hour_min_s and h.above_s > h.s / 2) as n_hour_above,
    from hour h
    join run.threshold t on t.site_id = h.site_id
    group by h.site_id
),

quality as (
    select site_id, min(coverage) as coverage, max(resolution_s) as resolution_s
    from measure.coverage
    where figure in ('static', 'conditions')
    group by site_id
),

judged as (
    select distinct site_id from interval.static_piece where target_inwc is not null
)

select
    j.site_id,
    coalesce(t.n_excursion, 0) as n_excursion,
    coalesce(t.n_answered, 0) as n_answered,
    coalesce(t.n_late, 0) as n_late,
    coalesce(t.n_missing, 0) as n_missing,
    coalesce(t.n_no_fall_seen, 0) as n_no_fall_seen,
    coalesce(t.n_used_up, 0) as n_used_up,
    coalesce(t.n_not_possible, 0) as n_not_possible,
    coalesce(t.n_open_already, 0) as n_open_already,
    coalesce(t.n_not_judged, 0) as n_not_judged,
    coalesce(t.n_purge, 0) as n_purge,
    t.answer_s,
    coalesce(t.used_up_s, 0) as used_up_s,
    coalesce(n.all_calling_s, 0) as all_calling_s,
    coalesce(n.all_calling_above_s, 0) as all_calling_above_s,
    coalesce(n.n_hour, 0) as n_hour,
    coalesce(n.n_hour_above, 0) as n_hour_above,
    q.coverage,
    q.resolution_s,
from judged j
left join told t on t.site_id = j.site_id
left join needed n on n.site_id = j.site_id
join quality q on q.site_id = j.site_id
order by j.site_id

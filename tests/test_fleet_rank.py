"""Expected harm and the order it makes: shrinking, intervals, what goes together, season."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from scipy import stats

from pipeline.fleet.rank import Seen, harm, order, rates, together
from pipeline.fleet.season import season, usual_f
from pipeline.fleet.standing import visit_reason
from pipeline.fleet_result import Harm, Interval
from pipeline.thresholds import values_for

NUMBERS = values_for({})


def test_few_sites_weigh_the_fleets_experience_as_the_table_says() -> None:
    # 10 of 20 days over two sites: mean (10 + 0.5) / (20 + 1) = 0.5, four days' worth
    made = rates([Seen("a", 10, 9), Seen("b", 10, 1)], NUMBERS)
    assert made["a"].share.expected == pytest.approx((2 + 9) / 14)
    assert made["b"].share.expected == pytest.approx((2 + 1) / 14)
    # a beta distribution's own quantiles, by another library's function
    assert made["a"].share.low == pytest.approx(stats.beta.ppf(0.05, 11, 3))
    assert made["a"].share.high == pytest.approx(stats.beta.ppf(0.95, 11, 3))


def test_one_bad_day_of_one_says_less_than_nine_of_ten() -> None:
    made = rates([Seen("one", 1, 1), Seen("many", 10, 9), Seen("none", 30, 0)], NUMBERS)
    assert made["one"].share.expected < made["many"].share.expected
    assert [made[s].is_shrunk for s in ("one", "many", "none")] == [True, False, False]


def test_fewest_days_that_speak_for_themselves() -> None:
    made = rates([Seen("under", 2, 1), Seen("at", 3, 1), Seen("over", 4, 1)], NUMBERS)
    assert [made[s].is_shrunk for s in ("under", "at", "over")] == [True, False, False]


def test_sites_that_differ_are_shrunk_less_than_sites_that_are_alike() -> None:
    # twelve sites, ten days each, 48 of 120 days: alike 4 of 10, or five with nine and the rest
    alike = rates([Seen(f"s{n}", 10, 4) for n in range(12)], NUMBERS)
    apart = rates([Seen(f"s{n}", 10, 9 if n < 5 else 0) for n in range(12)], NUMBERS)
    assert alike["s0"].share.expected == pytest.approx(0.4, abs=0.01)
    assert apart["s0"].share.expected > 0.8
    assert apart["s11"].share.expected < 0.1


def test_a_site_that_could_not_show_it_gets_the_fleets_rate() -> None:
    made = rates([Seen("a", 10, 5), Seen("blind", 0, 0)], NUMBERS)
    assert made["blind"].share.expected == pytest.approx(made["blind"].fleet)
    assert made["blind"].is_shrunk


def test_harm_is_weight_times_share_times_days_to_come() -> None:
    seen = Seen("a", 10, 5, weight=3.0)
    rate = rates([seen, Seen("b", 10, 5)], NUMBERS)["a"]
    made = harm(seen, rate, 0.5, "days with heat", 30)
    assert made.points.expected == pytest.approx(3.0 * rate.share.expected * 15)
    assert made.points.low < made.points.expected < made.points.high


def points(expected: float, by: float = 1.0) -> Harm:
    return Harm(Interval(expected, expected - by, expected + by))


def test_findings_that_go_together_count_once() -> None:
    harms = {"limit": points(9.0), "static": points(4.0), "sensor": points(2.0)}
    whole = together(harms, {"limit": ("static",)})
    assert whole.points.expected == pytest.approx(9.0 + 2.0)
    # two independent errors of one each: the root of two
    assert whole.points.high - whole.points.expected == pytest.approx(2**0.5)


def test_what_goes_with_a_finding_that_is_not_there_is_left_out() -> None:
    assert together({"limit": points(9.0)}, {"limit": ("static",)}).points.expected == 9.0


def test_sites_within_chance_of_the_worst_share_its_tie() -> None:
    made = order(
        {
            "worst": Interval(10, 8, 12),
            "near": Interval(9, 7, 11),
            "wide": Interval(5, 1, 9),  # its own chance does not reach the worst's
            "low": Interval(4.5, 4, 6),
        }
    )
    assert [(p.site_id, p.rank, p.tie) for p in made] == [
        ("worst", 1, 1),
        ("near", 2, 1),
        ("wide", 3, 2),
        ("low", 4, 2),
    ]


def test_a_customer_to_call_first_leads_within_a_tie_and_no_further() -> None:
    made = order(
        {"a": Interval(10, 8, 12), "b": Interval(9, 7, 11), "c": Interval(1, 0.5, 1.5)},
        frozenset({"b", "c"}),
    )
    assert [p.site_id for p in made] == ["b", "a", "c"]


def fleet_of(seed: int) -> dict[str, Interval]:
    """Forty sites with the same true shares of bad days, ten days seen; the seed is the weather."""
    rng = np.random.default_rng(seed)
    true = np.concatenate([np.full(32, 0.02), np.linspace(0.3, 0.9, 8)])
    seen = [
        Seen(f"s{n:02d}", 10, int(rng.binomial(10, share)), 3.0) for n, share in enumerate(true)
    ]
    rate = rates(seen, NUMBERS)
    return {s.site_id: harm(s, rate[s.site_id], 1.0, "days", 30).points for s in seen}


def test_another_seed_of_noise_swaps_only_sites_that_are_tied() -> None:
    """Pairs far apart in truth keep their order; what swaps lies within one of the two ties."""
    swaps = beyond = pairs = 0
    for seed in range(20):
        first, second = ({p.site_id: p for p in order(fleet_of(s))} for s in (seed, 100 + seed))
        ids = sorted(first)
        for i, a in enumerate(ids):
            for b in ids[i + 1 :]:
                pairs += 1
                if (first[a].rank < first[b].rank) == (second[a].rank < second[b].rank):
                    continue
                swaps += 1
                tied = first[a].tie == first[b].tie or second[a].tie == second[b].tie
                beyond += not tied
    assert swaps > 0.1 * pairs  # there is noise: most of the fleet is alike
    # intervals of nine in ten: at most a tenth of the pairs may still be told apart wrongly
    assert beyond < 0.1 * pairs
    assert beyond < 0.1 * swaps


def test_planted_sites_lead_whatever_the_noise() -> None:
    for seed in range(20):
        lead = [p.site_id for p in order(fleet_of(seed))][:13]  # a third of forty
        assert {f"s{n}" for n in range(33, 40)} <= set(lead)


def test_season_by_day_of_the_year() -> None:
    # Denver, design temperatures from memory: 1 °F and 93 °F
    september = season(dt.date(2026, 9, 15), 1, 93, NUMBERS)
    january = season(dt.date(2026, 1, 5), 1, 93, NUMBERS)
    july = season(dt.date(2026, 7, 5), 1, 93, NUMBERS)
    assert january.heating > 0.9 and january.cooling < 0.05
    assert july.cooling > 0.5 and july.heating < 0.2
    assert july.heating < september.heating < january.heating
    assert september.cooling < july.cooling
    assert not season(dt.date(2026, 9, 15), None, 93, NUMBERS).is_known


@pytest.mark.parametrize(
    ("design", "coldest_f", "warmest_f"),
    [
        # means of January and July, climate normals from memory
        ((1, 93), 31, 74),  # Denver
        ((-11, 88), 16, 74),  # Minneapolis
        ((39, 108), 56, 95),  # Phoenix
        ((23, 92), 44, 80),  # Atlanta
    ],
)
def test_usual_temperatures_are_near_the_normals(
    design: tuple[float, float], coldest_f: float, warmest_f: float
) -> None:
    assert usual_f(dt.date(2026, 1, 17), *design, NUMBERS) == pytest.approx(coldest_f, abs=9)
    assert usual_f(dt.date(2026, 7, 18), *design, NUMBERS) == pytest.approx(warmest_f, abs=9)


def test_a_fault_of_either_mode_counts_the_days_of_both() -> None:
    made = season(dt.date(2026, 5, 1), None, None, NUMBERS)
    assert made.share("") == pytest.approx(min(1.0, made.heating + made.cooling))
    assert made.share("heating") == made.heating and made.share("cooling") == made.cooling


@pytest.mark.parametrize(
    ("group", "days_ahead", "told"),
    [
        ("on top", 80, "Visit booked for Thu Apr 16: do not wait for it."),
        ("ranked", 80, "Visit booked for Thu Apr 16: add to it."),
        ("ranked", 0, "Visit booked for Mon Jan 26: add to it."),
        ("on top", -1, "A visit was booked for Sun Jan 25."),
    ],
)
def test_nobody_waits_for_a_booked_visit_without_heat(
    group: str, days_ahead: int, told: str
) -> None:
    run_day = dt.date(2026, 1, 26)
    assert visit_reason(run_day + dt.timedelta(days=days_ahead), group, run_day) == told

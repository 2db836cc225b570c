"""What pairs of forecast and measurement teach: errors of known kind, the prior, and the chances from both."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from haulm.science import forecast_skill as skill_of
from haulm.science.forecast_skill import Cases, chance_at_or_below, learn, put_right
from haulm.science.frost import normal_chance, spread_by_lead_c

NAN = math.nan
CASES = json.loads((Path(__file__).parents[1] / "reference" / "frost.json").read_text(encoding="utf-8"))
TABLE = [case["inputs"] | {"expected": case["expected"]} for case in CASES if case["equation"] == "normal_chance"]


def cases(count, rng, clear=None, usual_c=5.0):
    """Forecasts over the seasons, the mean year a plain wave about `usual_c`."""
    day = rng.uniform(1.0, 366.0, count)
    unusual = rng.normal(0.0, 4.0, count)
    wave = usual_c - 8.0 * np.cos(2.0 * np.pi * (day - 25.0) / 365.25)
    return Cases(wave + unusual, unusual, rng.random(count) if clear is None else np.full(count, clear), day)


def taught(pairs, error_c, age_days=0.0, lead=1.0):
    return learn(pairs, error_c, np.broadcast_to(age_days, np.shape(error_c)), lead)


def untaught(lead=1.0):
    nothing = np.zeros(0)
    return learn(Cases(nothing, nothing, nothing, nothing), nothing, nothing, lead)


def one(value_c=2.0, clear=0.35, unusual_c=0.0, day=100.0):
    return Cases(*(np.array([value]) for value in (value_c, unusual_c, clear, day)))


@pytest.mark.parametrize("row", TABLE)
def test_the_table_of_chances(row):
    """Φ((limit - forecast) / spread), to four decimals."""
    told = chance_at_or_below(row["limit_c"], row["mean_c"], row["spread_c"], [0.0])
    assert told == pytest.approx(row["expected"], abs=1e-4)


@pytest.mark.parametrize("lead", [1, 2, 3, 4, 5, 6, 7])
def test_before_any_pair_the_usual_night_has_the_spread_of_its_lead(lead):
    """The ramp 1.4, 1.6, 1.9, 2.2, 2.5, 2.8, 3.0 °C (from memory), of which no more than half is the place's bias."""
    told = put_right(untaught(float(lead)), one())
    assert told.spread_c[0] == pytest.approx(float(spread_by_lead_c(lead)), rel=0.06)
    near = chance_at_or_below(0.0, told.mean_c, told.spread_c, told.errors_c)
    assert near == pytest.approx(normal_chance(0.0, told.mean_c, told.spread_c), abs=0.01)


def test_before_any_pair_clear_calm_nights_are_taken_to_be_forecast_too_warm():
    """Published: 1 to 2 °C too warm in clear, calm conditions, little dependent on lead."""
    for lead in (1.0, 5.0):
        clear, covered = (put_right(untaught(lead), one(clear=share)).mean_c[0] for share in (1.0, 0.0))
        assert clear - 2.0 == pytest.approx(-1.0, abs=1e-6)  # the low end
        assert covered == pytest.approx(2.0)


def test_a_constant_bias_and_spread_are_found():
    rng = np.random.default_rng(1)
    pairs = cases(500, rng)
    found = put_right(taught(pairs, rng.normal(1.8, 2.5, 500)), cases(300, rng))
    new = put_right(taught(pairs, rng.normal(1.8, 2.5, 500)), one(unusual_c=0.0, value_c=9.0, day=180.0))
    assert new.mean_c[0] - 9.0 == pytest.approx(1.8, abs=0.5)
    assert found.spread_c.mean() == pytest.approx(2.5, abs=0.25)


def test_few_pairs_move_it_little_and_more_move_it_more():
    rng = np.random.default_rng(2)
    moved = [
        float(put_right(taught(cases(count, rng, clear=0.35), np.full(count, 3.0)), one()).mean_c[0]) - 2.0
        for count in (0, 1, 5, 20, 300)
    ]
    assert moved == sorted(moved)
    assert moved[1] < 1.0
    assert moved[-1] == pytest.approx(3.0, abs=0.3)


def test_clear_nights_teach_a_bias_of_clear_nights():
    rng = np.random.default_rng(3)
    pairs = cases(600, rng)
    error = np.where(pairs.clear > 0.6, -2.5, 0.5) + rng.normal(0.0, 1.0, 600)
    learned = taught(pairs, error)
    clear, covered = (put_right(learned, one(clear=share, value_c=5.0)).mean_c[0] - 5.0 for share in (0.9, 0.1))
    assert (clear, covered) == (pytest.approx(-2.5, abs=0.6), pytest.approx(0.5, abs=0.6))


def test_a_forecast_that_overshoots_the_mean_year_is_drawn_back():
    rng = np.random.default_rng(4)
    pairs = cases(700, rng)
    learned = taught(pairs, -0.5 * pairs.unusual_c + rng.normal(0.0, 1.0, 700))
    cold, warm = (put_right(learned, one(5.0 + off, 0.5, off, 115.0)).mean_c[0] for off in (-6.0, 6.0))
    assert cold == pytest.approx(5.0 - 3.0, abs=1.0)
    assert warm == pytest.approx(5.0 + 3.0, abs=1.0)


def test_skewed_errors_keep_their_shape():
    """Exponential errors: never more than 1.5 °C warmer than expected, sometimes much colder."""
    rng = np.random.default_rng(5)
    pairs = cases(700, rng)
    told = put_right(taught(pairs, 1.5 - rng.exponential(1.5, 700)), one(3.0, day=110.0))
    colder = chance_at_or_below(told.mean_c - 3.0, told.mean_c, told.spread_c, told.errors_c)
    warmer = 1.0 - chance_at_or_below(told.mean_c + 3.0, told.mean_c, told.spread_c, told.errors_c)
    assert colder > 0.03  # e^-3 is 0.05
    assert warmer < 0.02


def test_newer_pairs_count_more():
    rng = np.random.default_rng(6)
    pairs = cases(400, rng, clear=0.35)
    age = np.where(np.arange(400) < 200, 700.0, 10.0)
    error = np.where(age > 300.0, 2.0, -1.0) + rng.normal(0.0, 0.5, 400)
    newer = put_right(learn(pairs, error, age, 1.0), one(5.0)).mean_c[0] - 5.0
    alike = put_right(taught(pairs, error), one(5.0)).mean_c[0] - 5.0
    assert newer < alike - 0.3


def test_a_missing_measurement_is_no_pair():
    rng = np.random.default_rng(7)
    pairs = cases(80, rng)
    error = rng.normal(0.5, 1.0, 80)
    gone = np.arange(80) % 2 == 0
    holes = taught(pairs, np.where(gone, NAN, error))
    kept = Cases(*(getattr(pairs, name)[~gone] for name in ("value_c", "unusual_c", "clear", "day_of_year")))
    assert put_right(holes, one()).mean_c == pytest.approx(put_right(taught(kept, error[~gone]), one()).mean_c)


def test_what_is_not_known_of_a_case_counts_as_usual_and_an_unknown_forecast_stays_so():
    learned = untaught()
    assert put_right(learned, one(unusual_c=NAN, clear=NAN)).mean_c == put_right(learned, one()).mean_c
    assert np.isnan(put_right(learned, one(value_c=NAN)).mean_c)


def test_leads_learned_together_are_those_learned_alone():
    rng = np.random.default_rng(8)
    rows = [cases(60, rng) for _ in range(3)]
    error, leads = rng.normal(0.0, 2.0, (3, 60)), np.array([1.0, 3.0, 7.0])
    names = ("value_c", "unusual_c", "clear", "day_of_year")
    stacked = Cases(*(np.stack([getattr(row, name) for row in rows]) for name in names))
    together = put_right(
        taught(stacked, error, 5.0, leads), Cases(*(np.full((3, 1), v) for v in (2.0, 0.0, 0.4, 90.0)))
    )
    for k in range(3):
        alone = put_right(taught(rows[k], error[k], 5.0, float(leads[k])), one(2.0, 0.4, 0.0, 90.0))
        np.testing.assert_allclose(together.mean_c[k], alone.mean_c, rtol=1e-9)
        np.testing.assert_allclose(together.errors_c[k], alone.errors_c, rtol=1e-9, atol=1e-12)


def test_errors_have_mean_nothing_and_less_than_the_whole_spread():
    rng = np.random.default_rng(9)
    told = put_right(taught(cases(300, rng), rng.standard_t(3, 300)), cases(50, rng))
    assert told.errors_c.shape == (50, skill_of.QUANTILES)
    np.testing.assert_allclose(told.errors_c.mean(axis=-1), 0.0, atol=1e-12)
    assert (told.errors_c.std(axis=-1) < told.spread_c).all()


@pytest.mark.parametrize(
    ("bias_c", "spread_c", "pairs", "worse"), [(0.0, 1.4, 40, 0.012), (2.5, 2.0, 400, 0.006), (-1.5, 3.0, 700, 0.006)]
)
def test_the_brier_score_comes_near_that_of_the_true_chances(bias_c, spread_c, pairs, worse):
    """Normal errors of known bias and spread; the score of the true chances is the least that can be had on average.

    The chances as forecast, without learning, are those of the prior.
    """
    rng = np.random.default_rng(round(10 * bias_c) + pairs)
    seen, new = cases(pairs, rng), cases(6000, rng)
    learned = taught(seen, rng.normal(bias_c, spread_c, pairs), rng.uniform(0.0, 400.0, pairs))
    froze = new.value_c + rng.normal(bias_c, spread_c, 6000) <= 0.0

    def score(told):
        chance = chance_at_or_below(0.0, told.mean_c, told.spread_c, told.errors_c)
        return float(((chance - froze) ** 2).mean())

    true = float(((normal_chance(0.0, new.value_c + bias_c, spread_c) - froze) ** 2).mean())
    assert true <= score(put_right(learned, new)) + 1e-3
    assert score(put_right(learned, new)) < true + worse
    if abs(bias_c) > 1.0:
        assert score(put_right(learned, new)) < score(put_right(untaught(), new)) - 0.01


@pytest.mark.parametrize("lead", [1.0, 4.0, 7.0])
def test_the_usual_case_s_variance_is_its_lead_s_part_bias_and_part_the_rest(lead):
    """Independent parts add by their squares; the part of how unusual a forecast is grows as the lead's own spread."""
    prior, usual = untaught(lead), skill_of.USUAL_CASE
    bias_spread = skill_of.BIAS_SPREAD_C * np.array(
        [1.0, 1.0, 1.0, 1.0, spread_by_lead_c(lead) / spread_by_lead_c(1.0)]
    )
    np.testing.assert_allclose(prior.covariance_c2, np.diag(bias_spread**2), atol=1e-12)
    np.testing.assert_allclose(prior.bias_c, skill_of.BIAS_C, atol=1e-12)
    rest = np.exp(usual @ prior.log_variance)
    assert rest + ((bias_spread * usual) ** 2).sum() == pytest.approx(float(spread_by_lead_c(lead)) ** 2)
    np.testing.assert_allclose(prior.log_variance[1:], skill_of.LOG_VARIANCE[1:])


def test_what_is_learned_of_bias_is_least_squares_with_the_prior_as_five_more_pairs():
    """Theil & Goldberger's mixed estimation (from memory): each row divided by its standard deviation."""
    rng = np.random.default_rng(11)
    pairs, age = cases(200, rng), rng.uniform(0.0, 900.0, 200)
    error = 0.8 - 1.5 * pairs.clear + 0.1 * pairs.unusual_c + rng.normal(0.0, 1.0 + pairs.clear, 200)
    learned = learn(pairs, error, age, 3.0)
    series, prior = pairs.series, np.sqrt(np.diag(untaught(3.0).covariance_c2))
    each = np.sqrt(learned.weight / np.exp(series @ learned.log_variance))
    rows = np.concatenate([series * each[:, None], np.diag(1.0 / prior)])
    told = np.concatenate([error * each, skill_of.BIAS_C / prior])
    found, *_ = np.linalg.lstsq(rows, told, rcond=None)
    np.testing.assert_allclose(learned.bias_c, found, atol=0.01)
    np.testing.assert_allclose(learned.covariance_c2, np.linalg.inv(rows.T @ rows), rtol=0.05, atol=1e-3)
    np.testing.assert_allclose(
        learned.left, (error - series @ learned.bias_c) / np.exp(series @ learned.log_variance / 2)
    )


def test_what_is_learned_of_the_spread_is_the_likeliest():
    """No small step of its coefficients makes errors, drawn wider on clear nights, and the prior together likelier."""
    rng = np.random.default_rng(12)
    pairs = cases(600, rng)
    learned = taught(pairs, rng.normal(0.0, np.exp(0.2 + 0.5 * pairs.clear), 600))
    series, left = pairs.series, learned.left**2 * np.exp(pairs.series @ learned.log_variance)
    square = left + np.einsum("ni,ij,nj->n", series, learned.covariance_c2, series)

    def unlikely(log_variance):
        gamma = 0.5 * learned.weight * (series @ log_variance + square / np.exp(series @ log_variance))
        off = (log_variance - untaught().log_variance) / skill_of.LOG_VARIANCE_SPREAD
        return gamma.sum() + 0.5 * (off**2).sum()

    best = unlikely(learned.log_variance)
    for step in (0.05 * sign * np.eye(5)[k] for k in range(5) for sign in (-1.0, 1.0)):
        assert unlikely(learned.log_variance + step) > best


def test_a_pair_a_year_older_counts_half_and_one_not_known_nothing():
    pairs = cases(3, np.random.default_rng(13))
    weight = learn(pairs, np.array([1.0, 1.0, NAN]), np.array([10.0, 375.0, 10.0]), 1.0).weight
    assert weight[1] == pytest.approx(0.5 * weight[0])
    assert weight[2] == 0.0


@pytest.mark.parametrize(("day", "apart"), [(1.0, 6.0), (360.0, 0.0), (177.4, 182.6)])
def test_the_turn_of_the_year_parts_no_season(day, apart):
    """365.25 days round: pairs of late December are near the first of January."""
    (near,) = skill_of._nearness(one(day=360.0), one(day=day))[0]
    assert near == pytest.approx(math.exp(-0.5 * (apart / skill_of.NEAR_DAYS) ** 2), rel=0.01)


@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_a_pair_is_as_near_from_either_side(way):
    """A width off in one of forecast, clearness and season is exp(−1/2) near, in two of them exp(−1)."""
    day, value_c, clear = way * skill_of.NEAR_DAYS, way * skill_of.NEAR_C, way * skill_of.NEAR_CLEAR
    here = one(5.0, 0.5, day=180.0)
    for other, widths in (
        (one(5.0 + value_c, 0.5, day=180.0), 1.0),
        (one(5.0, 0.5 + clear, day=180.0), 1.0),
        (one(5.0, 0.5, day=180.0 + day), 1.0),
        (one(5.0 + value_c, 0.5 - clear, day=180.0), 2.0),
        (one(5.0 + 2.0 * value_c, 0.5, day=180.0), 4.0),
    ):
        assert skill_of._nearness(here, other).item() == pytest.approx(math.exp(-0.5 * widths))


def test_a_wild_error_widens_the_spread_up_to_four_deviations_and_hardly_further():
    rng = np.random.default_rng(14)
    pairs, error = cases(300, rng, clear=0.35), rng.choice([-1.0, 1.0], 300)

    def spread(wild_c):
        put = error.copy()
        put[0] = wild_c
        return np.exp(pairs.series[0] @ taught(pairs, put).log_variance / 2.0)

    assert spread(3.9) - spread(3.0) > 0.02
    assert 0.0 < spread(9.9) - spread(9.0) < 0.01


def test_quantiles_go_by_weight():
    """Of four values, one as heavy as the other three, half of the quantiles are that one."""
    found = skill_of._quantiles(np.array([3.0, 1.0, 2.0, 4.0]), np.array([1.0, 1.0, 3.0, 1.0]))
    assert found.tolist() == sorted(found.tolist())
    shares = [float((found == value).mean()) for value in (1.0, 2.0, 3.0, 4.0)]
    assert shares == pytest.approx([1 / 6, 1 / 2, 1 / 6, 1 / 6], abs=1.0 / skill_of.QUANTILES)

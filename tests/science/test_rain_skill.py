"""How often it rains after a forecast amount: the prior, counts, and known true shares."""

import math

import numpy as np
import pytest

from haulm.science.rain_skill import PRIOR_CHANCE, wet_chance

LEADS = 8
NONE = np.empty((0, LEADS))
AMOUNTS = (0.0, 0.5, 3.0, 9.0)


def of_all(forecast_mm, told=NONE, came=NONE, usual=0.3):
    return wet_chance(np.full(LEADS, forecast_mm), told, came, np.zeros(told.shape), usual)


@pytest.mark.parametrize("amount_mm", AMOUNTS)
def test_without_days_of_its_own_the_prior_speaks_and_fades_towards_the_place_s_share(amount_mm):
    chance = of_all(amount_mm)
    assert chance[:2] == pytest.approx(PRIOR_CHANCE[AMOUNTS.index(amount_mm)])
    assert (np.diff(np.abs(chance - 0.3)) <= 1e-12).all()


def test_more_rain_forecast_is_a_greater_chance_at_every_lead():
    table = np.stack([of_all(amount) for amount in AMOUNTS])
    assert (np.diff(table, axis=0) > 0.0).all()


@pytest.mark.parametrize(("amount_mm", "edge"), [(0.2, 0.19), (1.0, 0.99), (5.0, 4.99)])
def test_class_borders(amount_mm, edge):
    assert of_all(amount_mm)[0] > of_all(edge)[0]


def test_the_place_s_own_days_outweigh_the_prior():
    """Two years in which 3 mm forecast was a wet day in 40 of 100: the prior said 65."""
    rng = np.random.default_rng(1)
    told = np.full((700, LEADS), 3.0)
    came = np.where(rng.random((700, LEADS)) < 0.4, 4.0, 0.0)
    assert of_all(3.0, told, came)[1:4] == pytest.approx(np.full(3, 0.4), abs=0.05)
    assert of_all(0.0, told, came)[1] == pytest.approx(0.07)  # nothing was learned of dry forecasts


def test_just_less_than_a_millimetre_is_no_wet_day():
    told = np.full((400, LEADS), 3.0)
    assert of_all(3.0, told, np.full((400, LEADS), 0.9))[1] < 0.05
    assert of_all(3.0, told, np.full((400, LEADS), 1.0))[1] > 0.95


def test_the_brier_score_of_learned_chances_beats_the_prior_s():
    rng = np.random.default_rng(2)
    told = rng.choice(AMOUNTS, (600, LEADS))
    true = np.array([0.02, 0.1, 0.4, 0.7])[np.searchsorted([0.2, 1.0, 5.0], told, side="right")]
    came = np.where(rng.random(told.shape) < true, 2.0, 0.0)
    past, new = slice(0, 400), slice(400, 600)
    learned = np.stack([wet_chance(row, told[past], came[past], np.zeros((400, LEADS)), 0.3) for row in told[new]])
    prior = np.stack([wet_chance(row, NONE, NONE, NONE, 0.3) for row in told[new]])
    froze = came[new] >= 1.0
    scores = [((chance - froze) ** 2).mean() for chance in (true[new], learned, prior)]
    assert scores[0] <= scores[1] + 0.002
    assert scores[1] < scores[2] - 0.005


def test_never_sure_and_never_out_of_nothing():
    told, came = np.zeros((900, LEADS)), np.zeros((900, LEADS))
    assert 0.0 < of_all(0.0, told, came).min() < 0.01
    assert np.isnan(of_all(math.nan)).all()
    assert of_all(3.0, told, np.full((900, LEADS), math.nan))[0] == pytest.approx(0.65)


def test_a_short_record_leaves_amounts_at_their_worth():
    assert of_all(9.0, usual=math.nan) == pytest.approx(np.full(LEADS, 0.88))

"""Learning what flying costs: a known truth found again, its doubt, loads, and hostile samples."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.estimate.home.power import PowerLearner, PowerModel, Seen

TRUTH = PowerModel(4300.0, 6.5, 0.35)
FILE = load_aircraft_file(
    "hover_power: 4.1 kW at 30 kg\nmass: {empty: 17 kg, maximum: 35 kg}\nrotors: {count: 6, diameter: 0.71 m}",
    "a.yaml",
)
STEP_S = 0.5


def true_w(speed_m_s: float, climb_m_s: float = 0.0) -> float:
    return TRUTH.power_w(speed_m_s, climb_m_s)


class Flight:
    """Feeds a learner with stretches of a known aircraft; noise is drawn."""

    def __init__(self, learner: PowerLearner, seed: int = 1, noise: float = 0.04, scale: float = 1.0) -> None:
        self.learner, self.noise, self.scale = learner, noise, scale
        self.dice = np.random.default_rng(seed)
        self.now_us = 1_000_000_000

    def fly(self, speed_m_s: float, climb_m_s: float, seconds: float, doubt_m_s: float = 0.3) -> None:
        for _ in range(round(seconds / STEP_S)):
            self.now_us += round(STEP_S * 1e6)
            told_m_s = max(0.0, speed_m_s + doubt_m_s * self.dice.standard_normal() * 0.5)
            power_w = self.scale * true_w(speed_m_s, climb_m_s) * (1.0 + self.noise * self.dice.standard_normal())
            self.learner.see(Seen(power_w, told_m_s, doubt_m_s, climb_m_s), STEP_S, self.now_us)


def flown(learner: PowerLearner, seed: int = 1) -> PowerLearner:
    flight = Flight(learner, seed)
    flight.fly(0.5, 0.0, 60.0)
    flight.fly(0.0, 2.0, 12.0)
    for speed_m_s in (4.0, 8.0, 12.0, 8.0):
        flight.fly(speed_m_s, 0.0, 60.0)
    flight.fly(0.5, 0.0, 40.0)
    return learner


@pytest.mark.parametrize("file", [FILE, None])
def test_a_known_truth_is_found_again(file: Any) -> None:
    """At airspeeds that were flown, within 3 % (measured: 1.6)."""
    for seed in range(5):
        model = flown(PowerLearner(file), seed).model()
        for speed_m_s in (0.0, 4.0, 8.0, 12.0):
            assert model.power_w(speed_m_s) == pytest.approx(true_w(speed_m_s), rel=0.03)


def test_the_doubt_holds_what_is_left_of_the_error() -> None:
    """Of 20 flights at three airspeeds, 95 % of the errors within two deviations, the model's own among them."""
    within = count = 0
    for seed in range(20):
        learner = flown(PowerLearner(FILE), seed)
        for speed_m_s in (0.0, 8.0, 14.0):
            plain_w = learner.model().power_w(speed_m_s)
            spread = sum((one.power_w(speed_m_s) - plain_w) ** 2 for one in learner.doubtful(speed_m_s))
            doubt_w = math.hypot(math.sqrt(spread), plain_w * learner.model_doubt(speed_m_s))
            within += abs(plain_w - true_w(speed_m_s)) < 2.0 * doubt_w
            count += 1
            assert doubt_w < 0.12 * plain_w
    assert within >= 0.95 * count


def test_doubtful_models_all_cost_more_and_are_its_covariance() -> None:
    """Against numpy: the spread of ln P over draws of the covariance is the root of their squared differences."""
    learner = flown(PowerLearner(FILE))
    kept = learner.learned()
    dice = np.random.default_rng(3)
    draws = dice.multivariate_normal(kept["x"], np.reshape(kept["p"], (3, 3)), 4000)
    for speed_m_s in (0.0, 8.0, 14.0):
        plain_w = learner.model().power_w(speed_m_s)
        models = learner.doubtful(speed_m_s)
        assert len(models) == 3
        assert all(one.power_w(speed_m_s) >= plain_w for one in models)
        spread = math.sqrt(sum((one.power_w(speed_m_s) - plain_w) ** 2 for one in models))
        drawn = np.std([PowerModel(*np.exp(x)).power_w(speed_m_s) for x in draws])
        assert spread == pytest.approx(float(drawn), rel=0.10)


def test_what_was_not_flown_stays_in_doubt() -> None:
    hovering = PowerLearner(FILE)
    Flight(hovering).fly(0.5, 0.0, 300.0)
    both = flown(PowerLearner(FILE))
    assert hovering.model_doubt(14.0) > 3.0 * hovering.model_doubt(0.0)

    def doubt(learner: PowerLearner) -> float:
        plain_w = learner.model().power_w(12.0)
        return math.sqrt(sum((one.power_w(12.0) - plain_w) ** 2 for one in learner.doubtful(12.0))) / plain_w

    assert doubt(hovering) > 2.0 * doubt(both)


def test_priors_by_the_file() -> None:
    """4.1 kW at 30 kg; 17 kg and a load of 6 kg: 4100 (23 / 30)^1.5 = 2753 W. Half full, 26 kg: 3308 W."""
    loaded = PowerLearner(FILE, load_sortie_file("payload: {mass: 6 kg}", "s.yaml"))
    assert loaded.model().hover_w == pytest.approx(2753.0, abs=1.0)
    assert loaded.mass_kg == pytest.approx(23.0)
    assert PowerLearner(FILE).model().hover_w == pytest.approx(3308.0, abs=1.0)
    # without a measured point: reference sheet, 35 kg on six rotors of 30 in: 2456 W ideal, 4128 W at 0.7 x 0.85
    bare = load_aircraft_file(
        "mass: {empty: 35 kg, maximum: 35 kg}\nrotors: {count: 6, diameter: 0.762 m}", "a.yaml"
    )
    assert PowerLearner(bare).model().hover_w == pytest.approx(2456.0 / 0.55, rel=1e-3)
    assert PowerLearner(bare).model().inflow_m_s == pytest.approx(7.1554, abs=1e-3)
    assert not PowerLearner(None).known


def changed(scale: float, seconds: float) -> tuple[PowerLearner, float]:
    learner = flown(PowerLearner(FILE), 7)
    flight = Flight(learner, 8, scale=scale)
    flight.now_us += 400_000_000
    begun_us = flight.now_us
    flight.fly(0.5, 0.0, seconds)
    change = learner.weight_change
    return learner, (change[1] - begun_us) / 1e6 if change is not None else math.nan


@pytest.mark.parametrize("mass", [0.75, 0.85, 1.2, 1.4])
def test_a_load_dropped_or_picked_up(mass: float) -> None:
    """Power with mass to 3/2 (momentum theory): found within 25 s, its size within 4 % of the weight."""
    learner, found_s = changed(mass**1.5, 60.0)
    change = learner.weight_change
    assert change is not None
    assert change[0] == pytest.approx(100.0 * (mass - 1.0), abs=4.0)
    assert found_s < 25.0
    assert learner.model().power_w(0.5) == pytest.approx(true_w(0.5) * mass**1.5, rel=0.03)


@pytest.mark.parametrize("mass", [0.97, 1.0, 1.03])
def test_less_than_a_load_is_no_change(mass: float) -> None:
    assert changed(mass**1.5, 120.0)[0].weight_change is None


def test_one_odd_stretch_is_no_change_and_moves_little() -> None:
    learner = flown(PowerLearner(FILE), 7)
    before_w = learner.model().hover_w
    flight = Flight(learner, 8, scale=3.0)
    flight.fly(0.5, 0.0, 4.5)
    flight.scale = 1.0
    flight.fly(0.5, 0.0, 30.0)
    assert learner.weight_change is None
    assert learner.model().hover_w == pytest.approx(before_w, rel=0.04)


def test_accelerating_upwards_is_not_taken_for_weight() -> None:
    """1 m/s2 more is thrust times 1.102 and power times 1.157."""
    plain = Seen(4000.0, 0.0, 0.3, 0.0, 1.0)
    assert plain.lift == pytest.approx((1.0 + 1.0 / 9.80665) ** 1.5)
    learner = flown(PowerLearner(FILE), 7)
    before_w = learner.model().hover_w
    now_us = 2_000_000_000
    for _ in range(8):
        now_us += 500_000
        learner.see(Seen(true_w(0.0) * plain.lift, 0.0, 0.3, 0.0, 1.0), 0.5, now_us)
    assert learner.model().hover_w == pytest.approx(before_w, rel=0.02)


HOSTILE = (
    Seen(0.0, 5.0, 0.3, 0.0),
    Seen(-4000.0, 5.0, 0.3, 0.0),
    Seen(0.5, 0.0, 0.3, 0.0),
    Seen(1e9, 0.0, 0.3, 0.0),
    Seen(4000.0, 300.0, 0.3, 0.0),
    Seen(4000.0, 0.0, 1e6, 0.0),
    Seen(4000.0, 20.0, 0.3, -200.0),
    Seen(4000.0, 0.0, 0.3, 500.0),
    Seen(4000.0, 0.0, 0.3, 0.0, -1e9),
)


@pytest.mark.parametrize("odd", HOSTILE)
@pytest.mark.parametrize("file", [FILE, None])
def test_hostile_samples_never_break_it(odd: Seen, file: Any) -> None:
    learner = PowerLearner(file)
    now_us = 1_000_000
    for _ in range(200):
        now_us += 500_000
        learner.see(odd, 0.5, now_us)
    if learner.known:
        model = learner.model()
        assert all(math.isfinite(v) and v > 0.0 for v in model)
        assert all(math.isfinite(one.power_w(8.0)) for one in learner.doubtful(8.0))
        variances = [learner.learned()["p"][4 * i] for i in range(3)]
        assert min(variances) >= 0.0


@pytest.mark.parametrize("step_s", [0.0, -1.0, 13.0, 1e9, math.nan])
def test_steps_that_cannot_be_are_left_out(step_s: float) -> None:
    learner = PowerLearner(FILE)
    before = learner.model()
    for i in range(20):
        learner.see(Seen(9000.0, 0.0, 0.3, 0.0), step_s, i)
    assert learner.model() == before


def test_what_was_learned_is_taken_up_and_rubbish_is_refused() -> None:
    learner = flown(PowerLearner(FILE))
    kept = learner.learned()
    other = PowerLearner(None)
    other.resume(kept)
    assert other.model() == learner.model()
    assert other.model_doubt(14.0) == learner.model_doubt(14.0)
    for name, value in (
        ("x", [1.0]),
        ("p", [0.0] * 8),
        ("x", [math.nan] * 3),
        ("x", [99.0] * 3),
        ("p", [-1.0] * 9),
    ):
        with pytest.raises((ValueError, KeyError, TypeError)):
            PowerLearner(None).resume({**kept, name: value})


def test_a_new_flight_may_carry_another_load() -> None:
    learner = flown(PowerLearner(FILE))
    sure = learner.learned()["p"][0]
    learner.forget_flight()
    assert math.sqrt(learner.learned()["p"][0]) > 0.2 > math.sqrt(sure)
    assert learner.weight_change is None
    # and is then believed at once, without being called a change
    flight = Flight(learner, 9, scale=1.5)
    flight.fly(0.5, 0.0, 20.0)
    assert learner.weight_change is None
    assert learner.model().power_w(0.5) == pytest.approx(1.5 * true_w(0.5), rel=0.04)

"""The wind out of lean and motion: formulas against the books and numpy, and what the part does with odd input."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile, load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import BLIND, Readings, Stream
from watchkeeper.estimate.air.airdrag import Drag, density_kg_m3, drag_of, flow
from watchkeeper.estimate.air.airwind import WindState, at_height, gust_length_m, larger_axis
from watchkeeper.estimate.air.leanfilter import (
    AHEAD,
    COMPASS,
    GUST_E,
    GUST_N,
    RIGHT,
    SCALE,
    SHAPE,
    STATES,
    AirWind,
    E,
    N,
)
from watchkeeper.estimate.air.stretches import Stretch, Stretches
from watchkeeper.estimate.air.wind import WindEstimate

G = 9.80665
S = 1_000_000
SORTIE = load_sortie_file("weather: {wind: 7 m/s from 250 deg, gusts: 11 m/s}", "s.yaml")
FULL = load_aircraft_file("rotors: {count: 6, diameter: 0.76 m}\nmass: {empty: 18 kg, maximum: 35 kg}", "a.yaml")
BARE = load_aircraft_file("packs: {cells: 12, capacity: 22 Ah}", "a.yaml")
EXACT = Drag(1e-9, 0.5 * 1.225 * 0.6 / 35.0, 1e-4, 1e-4)
"""facts.md 5: drag area 0.6 m2, 35 kg, sea level."""
LEVEL = [(5.0, 1.53), (10.0, 6.11), (15.0, 13.54)]
"""Airspeed in m/s, level tilt in degrees, for these (facts.md 5)."""


def stretch(lean_n: float, lean_e: float, heading_deg: float = 0.0, **more: float) -> Stretch:
    cos, sin = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
    return Stretch(lean_n, lean_e, cos, sin, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0)._replace(**more)


# --- formulas ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("speed_m_s", "tilt_deg"), LEVEL)
def test_level_tilt_comes_back_as_the_airspeed(speed_m_s: float, tilt_deg: float) -> None:
    accel = G * math.tan(math.radians(tilt_deg))
    assert flow(accel, EXACT.linear_1_s, EXACT.square_1_m) == pytest.approx(speed_m_s, rel=0.003)  # 0.01 deg


@pytest.mark.parametrize(("speed_m_s", "tilt_deg"), LEVEL)
def test_the_filter_finds_the_wind_of_a_level_tilt_at_any_heading(speed_m_s: float, tilt_deg: float) -> None:
    found = AirWind(EXACT)
    lean = math.tan(math.radians(tilt_deg))
    for i in range(300):  # leaning north: the wind comes from there and blows to the south
        found.pass_time(2.0, speed_m_s, 30.0)
        found.look(stretch(lean, 0.0, heading_deg=120.0 * (i // 20)), 1.225)
    north, east, nn, _, ee = found.mean()
    assert (north, east) == pytest.approx((-speed_m_s, 0.0), abs=0.06)
    assert math.sqrt(max(nn, ee)) < 1.0


@pytest.mark.parametrize(("off_deg", "right_deg"), [(1.2, -0.7), (-2.0, 0.3)])
def test_a_tilt_error_shows_at_the_second_heading(off_deg: float, right_deg: float) -> None:
    found = AirWind(EXACT)
    lean, ahead, right = (math.tan(math.radians(one)) for one in (6.11, off_deg, right_deg))

    def hover(heading_deg: float, looks: int) -> None:
        cos, sin = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
        for _ in range(looks):
            found.pass_time(2.0, 10.0, 30.0)
            seen = stretch(lean + cos * ahead - sin * right, sin * ahead + cos * right, heading_deg)
            found.look(seen, 1.225)

    hover(0.0, 30)
    one = larger_axis(*found.mean()[2:])
    assert math.hypot(found.mean()[0] + 10.0, found.mean()[1]) > 0.5
    hover(150.0, 30)
    assert larger_axis(*found.mean()[2:]) < 0.6 * one
    assert found.mean()[:2] == pytest.approx((-10.0, 0.0), abs=0.25)
    assert (found.x[AHEAD], found.x[RIGHT]) == pytest.approx((ahead, right), abs=0.003)


# ISO 2533 (ICAO Doc 7488): facts.md 5
@pytest.mark.parametrize(
    ("altitude_m", "kelvin", "pascal", "density"),
    [
        (0, 288.15, 101325, 1.2250),
        (500, 284.900, 95461.3, 1.16727),
        (1000, 281.651, 89876.3, 1.11166),
        (2000, 275.154, 79501.4, 1.00655),
        (3000, 268.659, 70121.1, 0.90925),
    ],
)
def test_density_is_that_of_the_standard(altitude_m: float, kelvin: float, pascal: float, density: float) -> None:
    # the table is of geometric heights, the formula of geopotential ones: 1.4 m apart at 3 km
    assert density_kg_m3(altitude_m) == pytest.approx(density, rel=2e-4)
    assert density_kg_m3(0.0, pascal / 100, kelvin - 273.15) == pytest.approx(density, rel=1e-5)


def test_density_of_no_height_on_earth_is_still_one() -> None:
    assert 0.2 < density_kg_m3(1e9) < density_kg_m3(-1e9) < 1.4


@pytest.mark.parametrize(
    ("height_m", "length_m"), [(6.096, 43.766), (50.0, 202.29), (100.0, 262.79), (304.8, 304.8)]
)
def test_gusts_have_the_length_of_the_standard(height_m: float, length_m: float) -> None:
    assert gust_length_m(height_m) == pytest.approx(length_m, rel=1e-4)  # MIL-F-8785C by facts.md 5


def test_wind_grows_with_height_and_so_does_doubt() -> None:
    low = WindState(6.0, 0.0, 1.0, 0.0, 1.0, 10.0, 1.0, "attitude")
    high = at_height(low, 80.0)
    assert high.north_m_s == pytest.approx(6.0 * 8 ** (1 / 7))  # 1/7 power law: common practice
    assert (high.height_m, high.source) == (80.0, "attitude")
    along, across = math.sqrt(high.var_nn), math.sqrt(high.var_ee)
    assert along > 1.5
    assert 1.3 < across < along
    again = at_height(high, 10.0)
    assert again.north_m_s == pytest.approx(6.0)
    assert again.var_nn > low.var_nn
    turned = at_height(low._replace(north_m_s=0.0, east_m_s=-6.0), 80.0)
    assert (turned.east_m_s, turned.var_ee) == pytest.approx((-high.north_m_s, high.var_nn))
    assert at_height(low, -50.0) == at_height(low, 2.0)._replace(height_m=-50.0)


def test_the_larger_axis_is_an_eigenvalue() -> None:
    for nn, ne, ee in [(4.0, 0.0, 1.0), (2.0, 1.5, 3.0), (1.0, -0.9, 1.0), (0.0, 0.0, 0.0)]:
        assert larger_axis(nn, ne, ee) ** 2 == pytest.approx(np.linalg.eigvalsh([[nn, ne], [ne, ee]])[1])


# --- the filter against numpy ----------------------------------------------------------------------------------


class Spied(AirWind):
    """Keeps what each correction was given."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.seen: list[tuple[tuple[float, ...], float, float]] = []

    def _correct(self, h: tuple[float, ...], off: float, noise: float) -> list[float]:
        self.seen.append((h, off, noise))
        return [0.0] * STATES


def predicted(
    x: NDArray[np.float64], seen: Stretch, drag: Drag, doubt: float, density: float
) -> NDArray[np.float64]:
    """Return the lean that a state lets expect, written with matrices and from the formulas alone."""
    velocity = np.array([seen.north_m_s, seen.east_m_s])
    u = math.exp(x[SCALE]) * velocity - x[[N, E]] - x[[GUST_N, GUST_E]]
    linear = drag.linear_1_s * math.exp(x[SHAPE])
    square = drag.square_1_m * density / 1.225 + (drag.linear_1_s - linear) / 8.0
    accel = np.array([seen.north_m_s2, seen.east_m_s2])
    true = (accel + (linear + square * math.sqrt(u @ u + doubt)) * u) / (G + seen.up_m_s2)
    turn, heading = x[COMPASS], np.array([[seen.cos, -seen.sin], [seen.sin, seen.cos]])
    compass = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    return np.asarray(compass @ true + heading @ x[[AHEAD, RIGHT]])


def slope(of: Callable[[NDArray[np.float64]], float], at: NDArray[np.float64], i: int) -> float:
    """Return a derivative by central differences."""
    step = 1e-5 * np.eye(STATES)[i]
    return (of(at + step) - of(at - step)) / 2e-5


def test_expectation_and_slopes_against_matrices_and_differences() -> None:
    drag = Drag(0.04, 0.011, 0.2, 0.5)
    rng = np.random.default_rng(7)
    for _ in range(20):
        found = Spied(drag, (4.0, -3.0, 1.0))
        found.x = list(rng.normal(0, [6, 6, 1, 1, 0.03, 0.03, 0.05, 0.2, 0.3]))
        v, a, way = rng.normal(0, 6, 2), rng.normal(0, 1, 2), rng.uniform(0, 6.3)
        lean = rng.normal(0, 0.1, 2)
        seen = Stretch(lean[0], lean[1], math.cos(way), math.sin(way), v[0], v[1], a[0], a[1], 0.4, 2.0)
        p = np.array(found.p)
        doubt = min(9.0, sum(p[i, j] for i, j in ((N, N), (E, E), (GUST_N, GUST_N), (GUST_E, GUST_E))))
        found.look(seen, 1.1)
        expected = predicted(np.array(found.x), seen, drag, doubt, 1.1)
        for axis, (h, off, _) in enumerate(found.seen):
            assert off == pytest.approx(lean[axis] - expected[axis], abs=1e-9)

            def one(x: NDArray[np.float64], axis: int = axis, seen: Stretch = seen, doubt: float = doubt) -> float:
                return float(predicted(x, seen, drag, doubt, 1.1)[axis])

            assert h == pytest.approx([slope(one, np.array(found.x), i) for i in range(STATES)], abs=1e-7)


@pytest.mark.parametrize("considered", [(SHAPE,), (SCALE, SHAPE)])
def test_a_correction_is_that_of_numpy(considered: tuple[int, ...]) -> None:
    rng = np.random.default_rng(3)
    found = AirWind(Drag(0.03, 0.01, 0.2, 0.5))
    found._considered = considered
    root = rng.normal(0, 1, (STATES, STATES))
    p, x, h, noise, off = root @ root.T, rng.normal(0, 1, STATES), rng.normal(0, 1, STATES), 0.7, 1.3
    found.p, found.x = [list(row) for row in p], list(x)
    gain = p @ h / (h @ p @ h + noise)
    gain[list(considered)] = 0.0  # reckoned with, never learned: Schmidt's filter in Joseph's form
    keep = np.eye(STATES) - np.outer(gain, h)
    moved = found._correct(tuple(h), off, noise)
    assert moved == pytest.approx(gain * off)
    assert found.x == pytest.approx(x + gain * off)
    assert np.array(found.p) == pytest.approx(keep @ p @ keep.T + noise * np.outer(gain, gain))
    found._correct(tuple(h), 1e9, noise)  # one that is far out moves no further than one at three deviations
    p = np.array(found.p)
    assert np.linalg.eigvalsh(p).min() > 0
    assert max(abs(np.array(found.x) - x)) < 50


def test_a_wind_in_metres_a_second_has_the_covariance_of_many_drawn() -> None:
    rng = np.random.default_rng(11)
    found = AirWind(Drag(0.03, 0.01, 0.2, 0.5))
    found.x = [8.0, -3.0, 1.0, 0.5, 0.0, 0.0, 0.0, 0.1, 0.0]
    root = rng.normal(0, 1, (STATES, STATES)) * 0.15
    root[SCALE] *= 0.2
    found.p = [list(row) for row in root @ root.T]
    drawn = rng.multivariate_normal(found.x, found.p, 400_000)
    for told, columns in ((found.mean(), ((N,), (E,))), (found.local(), ((N, GUST_N), (E, GUST_E)))):
        winds = [np.exp(-drawn[:, SCALE]) * sum(drawn[:, i] for i in axis) for axis in columns]
        spread = np.cov(winds)
        assert told[:2] == pytest.approx([wind.mean() for wind in winds], rel=0.02)
        assert told[2:] == pytest.approx([spread[0, 0], spread[0, 1], spread[1, 1]], rel=0.03, abs=0.01)


def test_time_forgets_gusts_and_ages_the_mean() -> None:
    found = AirWind(Drag(0.03, 0.01, 0.2, 0.5), (8.0, 0.0, 1.0), 0.2)
    found.x[GUST_N], found.p[N][GUST_N], found.p[GUST_N][N] = 2.0, -0.1, -0.1
    before = found.p[E][E]
    found.pass_time(10.0, 8.0, 50.0)
    keep = math.exp(-10.0 * 8.0 / 202.29)
    assert found.x[GUST_N] == pytest.approx(2.0 * keep, rel=1e-4)
    assert found.p[N][GUST_N] == pytest.approx(-0.1 * keep, rel=1e-4)
    # a fifth of the wind, and half as much again while nothing was seen of them: the same before and after
    assert found.p[GUST_E][GUST_E] == pytest.approx((1.5 * 1.6) ** 2)
    assert found.p[E][E] - before == pytest.approx(0.25 / 12)
    found.pass_time(1e7, 8.0, 50.0)
    assert found.x[GUST_N] == 0.0
    assert 7.9 < math.sqrt(found.p[E][E]) < 8.1


def test_learned_comes_back_and_rubbish_does_not() -> None:
    found = AirWind(EXACT)
    for i in range(30):
        found.pass_time(2.0, 8.0, 30.0)
        found.look(stretch(0.1, -0.02 * i / 30, 3.0 * i), 1.2)
    kept: dict[str, Any] = found.learned()
    again = AirWind(EXACT)
    again.resume(kept)
    assert (again.x, again.p) == (found.x, found.p)
    covariance: list[float] = kept["covariance"]
    wrong: list[dict[str, Any]] = [
        {},
        kept | {"state": found.x[:-1]},
        kept | {"state": [math.nan, *found.x[1:]]},
        kept | {"state": [1e6, *found.x[1:]]},
        kept | {"state": ["1", *found.x[1:]]},
        kept | {"state": [True, *found.x[1:]]},
        kept | {"covariance": covariance[1:]},
        kept | {"covariance": [-1.0, *covariance[1:]]},
        kept | {"covariance": [covariance[0], covariance[1] + 1.0, *covariance[2:]]},
        kept | {"covariance": [covariance[0] * 1e9, *covariance[1:]]},
        kept | {"covariance": None},
    ]
    fresh = AirWind(EXACT)
    for one in wrong:
        with pytest.raises(ValueError, match=r"."):
            fresh.resume(one)
    assert fresh.learned() == AirWind(EXACT).learned()


def test_files_tell_the_drag_and_how_little_they_tell() -> None:
    full, bare = drag_of(FULL, None), drag_of(BARE, None)
    heavy = drag_of(FULL, load_sortie_file("payload: {mass: 17 kg, line: 0 m}", "s"))
    light = drag_of(FULL, load_sortie_file("payload: {mass: 1 kg, line: 0 m}", "s"))
    line = drag_of(FULL, load_sortie_file("payload: {mass: 17 kg, line: 5 m}", "s"))
    # 0.6 m2 at 35 kg and 10 m/s: 6.11 degrees (facts.md 5)
    assert heavy.linear_1_s * 10 + heavy.square_1_m * 100 == pytest.approx(
        G * math.tan(math.radians(6.11)), rel=1e-3
    )
    assert light.square_1_m > full.square_1_m > heavy.square_1_m
    assert bare.scale_sd > line.scale_sd > heavy.scale_sd
    assert full.scale_sd > heavy.scale_sd
    assert drag_of(None, None) == bare
    twice = drag_of(load_aircraft_file("mass: {empty: 70 kg, maximum: 70 kg}", "a.yaml"), None)
    # like shapes: twice the mass, 2 ** (2 / 3) times the area, so 2 ** (-1 / 3) times the drag over mass
    assert twice.linear_1_s * 10 + twice.square_1_m * 100 == pytest.approx(1.05 * 2 ** (-1 / 3))


# --- stretches -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("late", [0, 1, 2, 3])
def test_lean_and_acceleration_are_of_the_same_time(late: int) -> None:
    """Velocities that come before the run, as messages of fixed rates do: each lean has its own acceleration."""
    motion, stretches = Motion(), Stretches()
    speed, found = 0.0, []
    for step in range(400):  # of 0.1 s; attitudes at each, a velocity at every fourth, a run at every fifth
        accel = 0.05 * (step - 100) if 100 <= step < 140 else 2.0 if 140 <= step < 180 else 0.0
        speed += 0.1 * accel
        motion.attitude(0.0, -math.atan(accel / G), 0.0, step * 100_000)
        if step % 4 == late:
            motion.velocity(speed, 0.0, step * 100_000)
        if step % 5 == 4:
            one = stretches.take(motion, 0.0, step * 100_000)
            found += [one] if one is not None else []
    assert len(found) > 15
    assert max(one.north_m_s2 for one in found) == pytest.approx(2.0, abs=0.01)
    rising = [one for one in found if 0.1 < one.north_m_s2 < 1.9 and one.north_m_s > 0.1][:2]
    assert all(one.lean_n * G == pytest.approx(one.north_m_s2, abs=0.02) for one in rising)


def test_what_cannot_be_flown_is_no_stretch() -> None:
    def run(speeds: Sequence[float], gap_us: int = S) -> int:
        motion, stretches, whole = Motion(), Stretches(), 0
        for i, speed in enumerate(speeds):
            motion.attitude(0.0, 0.0, 0.0, i * gap_us)
            motion.velocity(speed, 0.0, i * gap_us)
            whole += stretches.take(motion, 0.0, i * gap_us) is not None
        return whole

    assert run([1.0] * 12) == 5
    assert run([300.0] * 12) == 0
    assert run([0.0, 0.0, 40.0, 40.0, 0.0, 0.0, 40.0, 40.0] * 2) == 0
    assert run([1.0] * 12, gap_us=5 * S) == 0


def test_no_attitude_no_stretch_and_heading_is_a_mean() -> None:
    motion, stretches = Motion(), Stretches()
    one: Stretch | None = None
    for i in range(10):
        motion.velocity(1.0, 0.0, i * S)
        assert stretches.take(motion, None, i * S) is None
    for i in range(10, 15):
        motion.velocity(1.0, 0.0, i * S)
        motion.attitude(0.0, 0.0, math.pi / 2 if i % 2 else 0.0, i * S)
        one = stretches.take(motion, None, i * S) or one
    assert one is not None
    assert (one.cos, one.sin) == pytest.approx((0.5, 0.5))


# --- the part --------------------------------------------------------------------------------------------------


class Flight:
    """An aircraft that hovers in a wind, as the part sees it: readings and motion by hand."""

    def __init__(self, file: AircraftFile | None = FULL, sortie: SortieFile | None = None) -> None:
        self.readings, self.motion = Readings(), Motion()
        self.part = WindEstimate(self.readings, self.motion, file, sortie)
        self.now_us = 1_000 * S
        self.tell(flight__phase="airborne", position__height=30.0, satellites__fix="fix_3d")

    def tell(self, **values: object) -> None:
        stream = Stream()
        stream.mark(self.now_us)
        for name, value in values.items():
            self.readings.put(INDEX[name.replace("__", ".")], value, stream)

    def read(self, name: str) -> Any:
        return self.readings.read(INDEX[name], self.now_us)

    def fly(self, seconds: float, *, lean: float = 0.1, yaw_rad: float = 0.0, north_m_s: float = 0.0) -> None:
        """Lean north; the body keeps its heading."""
        pitch, roll = -math.atan(lean * math.cos(yaw_rad)), math.atan(-lean * math.sin(yaw_rad))
        for _ in range(round(seconds / 0.5)):
            self.now_us += S // 2
            self.motion.attitude(roll, pitch, yaw_rad, self.now_us)
            self.motion.velocity(north_m_s, 0.0, self.now_us)
            self.run()

    def run(self) -> None:
        part = self.part
        values = part.run(self.now_us)
        if values is not None:
            part.stream.mark(self.now_us)
            for index, value in zip(part.indexes, values, strict=True):
                self.readings.put(index, value, part.stream)


def test_it_is_shown_by_reading_state_and_airspeed() -> None:
    flight = Flight()
    flight.fly(40.0)
    assert flight.part.state is not None
    flight.fly(40.0, yaw_rad=2.0)
    state = flight.part.state
    speed = flow(0.1 * G, 0.03, drag_of(FULL, None).square_1_m)
    assert flight.read("wind.speed") == pytest.approx(speed, rel=0.05)
    assert flight.read("wind.from") % 360 == pytest.approx(0.0, abs=3.0)
    assert (state.north_m_s, state.east_m_s) == pytest.approx((-speed, 0.0), abs=0.4)
    assert flight.read("wind.doubt") == pytest.approx(larger_axis(state.var_nn, state.var_ne, state.var_ee))
    assert flight.read("wind.gust") >= flight.read("wind.speed")
    assert (state.height_m, state.source) == (30.0, "attitude")
    told = flight.part.airspeed_m_s()
    assert told is not None
    assert told[0] == pytest.approx(speed, rel=0.06)
    assert 0.3 < told[1] < 3.0


def test_a_strong_wind_is_told_before_it_is_known_well() -> None:
    """On one heading a gale is not known to 3 m/s, and must not be kept for that."""
    flight = Flight()
    flight.fly(60.0, lean=0.32)
    assert flight.read("wind.speed") == pytest.approx(
        flow(0.32 * G, 0.03, drag_of(FULL, None).square_1_m), rel=0.05
    )
    assert 3.0 < flight.read("wind.doubt") < 0.3 * flight.read("wind.speed")
    light = Flight(BARE)  # of an aircraft nothing is known of, the lean tells too little of any wind
    light.fly(60.0, lean=0.32)
    assert light.read("wind.speed") is BLIND
    light.fly(60.0, lean=0.9, yaw_rad=2.0)
    assert light.read("wind.speed") is BLIND


def test_nothing_is_learned_on_the_ground_in_take_off_or_without_a_fix() -> None:
    for change in ({"flight__phase": "taking_off"}, {"flight__phase": "landing"}, {"flight__phase": "landed"},
                   {"satellites__fix": "no_fix"}, {"satellites__fix": "fix_2d"}):  # fmt: skip
        flight = Flight()
        flight.tell(**change)
        flight.fly(60.0)
        assert flight.part.state is None
        assert flight.part.learned() == {}
        assert flight.part.filter.x[:8] == AirWind(drag_of(FULL, None)).x[:8]
    high = Flight()
    high.tell(flight__phase=None)
    high.fly(60.0)
    assert high.part.state is not None
    low = Flight()
    low.tell(flight__phase=None, position__height=4.0)
    low.fly(60.0)
    assert low.part.state is None


def test_without_a_position_doubt_grows_and_what_was_is_shown_no_more() -> None:
    flight = Flight()
    flight.fly(60.0)
    flight.fly(60.0, yaw_rad=2.0)
    before = flight.read("wind.doubt")
    flight.tell(satellites__fix="no_fix")
    for _ in range(3):
        flight.fly(60.0, lean=-0.2)
        assert flight.read("wind.doubt") > before
        before = flight.read("wind.doubt")
    assert flight.part.state is not None
    assert flight.part.state.north_m_s < -4.0  # and nothing of the lean since then
    flight.part.filter.pass_time(1e5, 5.0, 30.0)
    flight.fly(6.0)
    later = flight.part
    assert later.state is None
    assert flight.part.airspeed_m_s() is None


def test_weather_of_the_sortie_serves_until_better_comes() -> None:
    flight = Flight(sortie=SORTIE)
    flight.run()
    assert (flight.read("wind.speed"), flight.read("wind.from")) == pytest.approx((7.0, 250.0))
    assert (flight.read("wind.doubt"), flight.read("wind.gust")) == (3.5, 11.0)  # half of it
    state = flight.part.state
    assert state is not None
    assert (state.north_m_s, state.east_m_s) == pytest.approx((2.394, 6.578), abs=1e-3)  # by hand
    assert (state.height_m, state.source) == (10.0, "sortie")
    assert state.gust_m_s == pytest.approx(4 / 3)
    flight.fly(60.0)
    flight.fly(60.0, yaw_rad=2.0)
    assert flight.part.state is not None
    assert flight.part.state.source == "attitude"
    assert flight.read("wind.from") > 340 or flight.read("wind.from") < 20


def test_messages_go_before_it_and_leave_a_place_for_it() -> None:
    flight = Flight(sortie=SORTIE)
    flight.run()
    flight.now_us += S
    flight.tell(wind__speed=8.0, wind__from=270.0)
    flight.motion.velocity(6.0, 0.0, flight.now_us)
    flight.run()
    assert (flight.read("wind.speed"), flight.read("wind.from")) == (8.0, 270.0)
    assert flight.read("wind.doubt") == pytest.approx(1.2)  # 15 %
    assert flight.read("wind.gust") == 8.0
    state, airspeed = flight.part.state, flight.part.airspeed_m_s()
    assert state is not None
    assert airspeed is not None
    assert (state.north_m_s, state.east_m_s) == pytest.approx((0.0, 8.0))
    assert state.source == "message"
    assert airspeed == pytest.approx((10.0, 1.2))  # the triangle of 6 and 8
    assert flight.part.run(flight.now_us) is None  # nothing new
    flight.now_us += 100 * S
    flight.run()
    assert (flight.read("wind.speed"), flight.read("wind.doubt")) == (pytest.approx(7.0), 3.5)


def test_no_weather_no_wind() -> None:
    for sortie in (None, load_sortie_file("sortie: x", "s")):
        part = WindEstimate(Readings(), Motion(), None, sortie)
        assert part.run(0) is None
        assert part.state is None
        assert part.airspeed_m_s() is None


def test_a_gust_is_the_highest_mean_of_three_seconds_in_ten_minutes() -> None:
    # WMO-No. 8, part I, chapter 5
    flight = Flight()

    def blow(speed_m_s: float, seconds: int) -> None:
        for _ in range(seconds):
            flight.now_us += S
            flight.tell(wind__speed=speed_m_s, wind__from=10.0)
            flight.run()

    blow(5.0, 60)
    blow(20.0, 1)
    blow(5.0, 10)
    assert 8.0 < flight.read("wind.gust") < 10.1  # a second of it is no gust of 20
    blow(12.0, 5)
    blow(5.0, 590)
    assert flight.read("wind.gust") == 12.0
    blow(5.0, 20)
    assert flight.read("wind.gust") == 5.0


HOSTILE = [math.nan, math.inf, -math.inf, 1e30, -1e30, 1.19, 99.0, 0.0]


@pytest.mark.parametrize("sortie", [None, SORTIE])
def test_hostile_values_leave_finite_ones(sortie: SortieFile | None) -> None:
    flight = Flight(sortie=sortie)
    rng = np.random.default_rng(5)
    for i in range(3000):
        flight.now_us += int(rng.choice([1, 100_000, S // 2, 3 * S]))
        roll, pitch, yaw = (float(rng.choice(HOSTILE)) for _ in range(3))
        flight.motion.attitude(roll, pitch, yaw, flight.now_us)
        north, east = (float(rng.choice([-327.68, 327.67, 0.0, 59.0, -59.0])) for _ in range(2))
        flight.motion.velocity(north, east, flight.now_us)
        if i % 7 == 0:
            height, climb = (float(rng.choice([*HOSTILE, -400.0])) for _ in range(2))
            flight.tell(flight__phase="airborne", position__height=height, position__climb_rate=climb)
        flight.run()
        for name in ("wind.speed", "wind.from", "wind.doubt", "wind.gust"):
            value = flight.read(name)
            assert not isinstance(value, float) or math.isfinite(value), name
    assert flight.part.filter.is_sound


def test_learned_of_the_part_comes_back() -> None:
    flight = Flight()
    assert flight.part.learned() == {}
    flight.part.resume({})
    flight.fly(60.0)
    flight.fly(60.0, yaw_rad=2.0)
    kept: dict[str, Any] = flight.part.learned()
    again = Flight()
    again.now_us = flight.now_us
    again.part.resume(kept)
    again.fly(6.0, yaw_rad=2.0)
    assert again.part.state is not None
    assert again.read("wind.speed") == pytest.approx(flight.read("wind.speed"), abs=0.1)
    wrongs: list[dict[str, Any]] = [
        {"looks": math.inf},
        {"looks": 0.0},
        {"heading": [3.0, 0.0]},
        {"height_m": -1.0},
        {"turned": 0.5},
        {"passed_us": None},
        {"heading": None},
        {"state": []},
    ]
    for wrong in wrongs:
        with pytest.raises(ValueError, match=r"."):
            Flight().part.resume({**kept, **wrong})

"""Motors against each other.

Outside values: thrust goes with speed squared (momentum theory), so a rotor that gives three quarters turns faster
by 1/sqrt(3/4); numpy's least squares for the filter. What mixing makes of a lean is the geometry of the frame:
cosines of the arms' angles.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from tests.aircraft.feeder import Flight
from tests.conftest import RequireData
from tests.recordings import replay, shipped
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.alerts.events import AlertChange
from watchkeeper.estimate.airframe import trim
from watchkeeper.estimate.airframe.standout import deviations, shares, standout
from watchkeeper.estimate.airframe.trim import HOVER_DEVIATION, LEAN_DEVIATION, NOISE, TrimFilter
from watchkeeper.estimate.suite import EstimateSuite

WEAK = 1 / math.sqrt(0.75)
S = 1_000_000
FILE = """
packs: {cells: 12, capacity: 22 Ah}
rotors: {count: 6}
"""


def arms(count: int, from_deg: float = 0.0) -> list[float]:
    return [math.cos(math.radians(from_deg + 360 * i / count)) for i in range(count)]


@pytest.mark.parametrize("count", [4, 6, 8])
def test_one_that_turns_faster_by_x_stands_out_by_x(count: int) -> None:
    speeds = [1.0] * count
    speeds[2] = WEAK
    found = shares(speeds)
    assert found is not None
    out, which = standout(found)
    mean = sum(speeds) / count
    assert which == 2
    assert out == pytest.approx((WEAK - 1) / mean, abs=1e-9)


@pytest.mark.parametrize("from_deg", [0.0, 22.5, 45.0, 60.0])
def test_a_lean_on_four_motors_is_no_motor_that_stands_out(from_deg: float) -> None:
    out, _ = standout([0.2 * part for part in arms(4, from_deg)])
    assert out == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("count", "most"), [(6, 0.5), (8, 0.3)])
def test_on_more_motors_a_lean_raises_neighbours(count: int, most: float) -> None:
    for from_deg in range(0, 360, 5):
        assert standout(arms(count, from_deg))[0] <= most + 1e-9


def test_the_filter_is_least_squares_with_what_it_began_with(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against numpy's least squares, the beginning put in as three more rows (ridge regression)."""
    dice = np.random.default_rng(4)
    monkeypatch.setattr(trim, "SURE", 1e9)  # so that it learns from all
    filtered = TrimFilter(3)
    filtered._walk = 0.0
    rows, seen = [], []
    for i in range(80):
        lean = dice.uniform(-0.2, 0.2, 2)
        share = 0.05 + 0.8 * lean[0] - 0.3 * lean[1] + dice.normal(0, 0.02)
        rows.append([1.0, *lean])
        seen.append(share)
        filtered.look([share, 0.0, -share], (float(lean[0]), float(lean[1])), i * S // 2)
    begun = np.diag([NOISE / HOVER_DEVIATION, NOISE / LEAN_DEVIATION, NOISE / LEAN_DEVIATION])
    found, *_ = np.linalg.lstsq(np.vstack([rows, begun]), np.array([*seen, 0.0, 0.0, 0.0]), rcond=None)
    assert filtered._states[0] == pytest.approx(found.tolist(), abs=1e-9)


def fly(
    filtered: TrimFilter, seconds: range, share_of: Sequence[float], lean: tuple[float, float], noise: float = 0.0
) -> list[float]:
    dice = np.random.default_rng(seconds.start)
    found = []
    for half in range(seconds.start * 2, seconds.stop * 2):
        now = [share + float(dice.normal(0, noise)) for share in share_of]
        looked = filtered.look(now, lean, half * S // 2)
        if looked is not None:
            found.append(looked[0])
    return found


def test_one_that_gets_faster_in_a_known_lean_is_certain_and_stays_so() -> None:
    filtered = TrimFilter(6)
    even = [0.0] * 6
    assert max(fly(filtered, range(60), even, (0.02, 0.0), 0.03)) < 0.03
    weak = [-0.024] * 6
    weak[3] = 0.12
    found = fly(filtered, range(60, 300), weak, (0.02, 0.0), 0.03)
    assert found[40] > 0.08, "within twenty seconds"
    assert found[-1] > 0.08, "it is not learned away"


@pytest.mark.parametrize("flown_s", [300, 600])
def test_one_that_keeps_84_per_cent_of_its_thrust_is_told(flown_s: int) -> None:
    """Thrust goes with speed squared: 9.1 % faster for the same lift."""
    filtered = TrimFilter(6)
    leans = [(0.04, -0.05), (0.0, 0.03), (-0.04, 0.0), (0.03, 0.06)]
    for begin in range(0, flown_s, 5):
        fly(filtered, range(begin, begin + 5), [0.0] * 6, leans[begin // 5 % 4], 0.02)
    faster = 1 / math.sqrt(0.84) - 1
    found = fly(filtered, range(flown_s, flown_s + 240), [-faster / 6] * 5 + [faster * 5 / 6], (0.03, -0.04), 0.02)
    assert np.mean(found[20:60]) > 0.06, "within half a minute"
    assert np.mean(found[-120:]) > 0.06, "it is not learned away"


@pytest.mark.parametrize("motors", [4, 6, 8])
def test_the_deviation_of_what_stands_out_as_drawn(motors: int) -> None:
    """A hundred thousand draws of independent shares, one of them 20 % up."""
    dice = np.random.default_rng(motors)
    drawn = dice.normal(0, 0.01, (100_000, motors))
    drawn[:, 0] += 0.2
    drawn -= drawn.mean(axis=1, keepdims=True)
    ordered = np.sort(drawn, axis=1)
    # against one of the others, not the highest of them: which one that is the shares learned tell, not the noise
    gap = drawn[:, 0] - drawn[:, 1]
    if motors == 4:
        gap = np.minimum(gap, 2 * (ordered[:, -1] + ordered[:, 0]))
        assert np.std(gap) / 0.01 <= deviations(4)
    else:
        assert np.std(gap) / 0.01 == pytest.approx(deviations(motors), rel=0.01)


def test_what_is_within_the_doubt_is_not_told() -> None:
    filtered = TrimFilter(6)
    fly(filtered, range(60), [0.0] * 6, (0.0, 0.0), 0.02)
    little = [-0.005] * 5 + [0.025]
    assert max(fly(filtered, range(60, 80), little, (0.0, 0.0))) < 0.01


def test_what_comes_with_a_new_lean_is_trim() -> None:
    # the four real quadrotors showed up to 14 % at 8 degrees beside level
    filtered = TrimFilter(4)
    fly(filtered, range(60), [0.0] * 4, (0.0, 0.0), 0.03)
    trimmed = [-0.04, 0.14, -0.04, -0.06]
    assert max(fly(filtered, range(60, 200), trimmed, (0.05, 0.14), 0.03)) < 0.04
    assert max(fly(filtered, range(200, 260), [0.0] * 4, (0.0, 0.0), 0.03)) < 0.04


class Motors:
    """An aircraft in flight, by its messages."""

    def __init__(self, file: str | None = FILE) -> None:
        files = () if file is None else (load_aircraft_file(file, "a.yaml"),)
        self.flight = Flight(Fleet(files))
        self.flight.beat()
        self.suite = EstimateSuite(self.flight.aircraft)
        self.armed = False

    def step(self, outputs: Sequence[int], *, height_m: float = 30.0, times: int = 1, name: str = "servo") -> None:
        for _ in range(times):
            flight = self.flight
            flight.wait(0.5)
            flight.beat_once(armed=self.armed)
            flight.send(
                "GLOBAL_POSITION_INT", time_boot_ms=flight.boot_ms, lat=100_000_000, lon=200_000_000, alt=100_000,
                relative_alt=round(height_m * 1000),
            )  # fmt: skip
            flight.send("VFR_HUD", alt=100.0, throttle=50)
            flight.send("ATTITUDE", time_boot_ms=flight.boot_ms, roll=0.02, pitch=-0.03)
            if name == "servo":
                flight.send("SERVO_OUTPUT_RAW", **{f"servo{i + 1}_raw": v for i, v in enumerate(outputs)})
            self.suite.run(flight.now_us)
        assert not self.suite.failures

    def read(self, name: str) -> Any:
        return self.flight.read(f"motors.{name}")

    def take_off(self, outputs: Sequence[int]) -> None:
        self.step([1000] * len(outputs), height_m=0, times=4)
        self.armed = True
        self.step([1150] * len(outputs), height_m=0, times=6)
        for height_m in range(1, 30):
            self.step(outputs, height_m=float(height_m))
        self.step(outputs, times=60)
        assert self.flight.read("flight.phase") == "airborne"


def test_motors_are_found_and_one_that_weakens_is_told() -> None:
    motors = Motors()
    motors.take_off([1500, 1510, 1490, 1505, 1495, 1500, 0, 1200])
    assert motors.read("uneven") < 1.0
    assert motors.read("still") == 0
    weak = 1000 + round(490 * WEAK)
    motors.step([1500, 1510, weak, 1505, 1495, 1500, 0, 1200], times=60)
    assert motors.read("uneven") > 8.0
    assert motors.read("odd") == 3


def test_one_that_stops_is_told_at_once() -> None:
    motors = Motors()
    motors.take_off([1500] * 6)
    motors.step([1600, 1600, 1000, 1600, 1600, 1600])
    assert motors.read("still") == 1
    assert motors.read("odd") == 3
    motors.step([1600, 1600, 1000, 1600, 1600, 1000])
    assert motors.read("still") == 2


def test_outputs_that_are_not_alike_are_no_motors_unless_the_file_says_which() -> None:
    outputs = [1500, 1510, 1490, 1505, 1900, 1050, 1500, 1495]
    motors = Motors()
    motors.take_off(outputs)
    assert motors.read("uneven") is BLIND
    assert motors.read("peak") is BLIND
    motors = Motors(FILE.replace("count: 6", "count: 6, outputs: [1, 2, 3, 4, 7, 8]"))
    motors.take_off(outputs)
    assert motors.read("uneven") < 1.0
    assert motors.read("peak") == 51.0


def test_on_the_ground_and_without_outputs() -> None:
    motors = Motors()
    motors.step([1000] * 6, height_m=0, times=5)
    assert motors.read("still") is BLIND
    motors = Motors()
    motors.step([], height_m=0, times=5, name="none")
    assert motors.read("uneven") is BLIND
    assert motors.read("throttle") == 50


@pytest.mark.parametrize("hostile", [[0] * 6, [65535] * 6, [1500, 0, 65535, 1, 2, 3], [1000] * 6])
def test_hostile_outputs_raise_nothing(hostile: list[int]) -> None:
    motors = Motors()
    motors.take_off([1500] * 6)
    motors.step(hostile, times=1)
    motors.step([1500] * 6, times=20)
    assert motors.read("still") == 0
    assert motors.read("uneven") < 3.0


@pytest.mark.parametrize("name", ["quad-radio-a", "quad-radio-b", "quad-radio-c", "quad-3s-five-flights"])
def test_real_quadrotors_in_wind(name: str, require_data: RequireData) -> None:
    """Four recordings of motors that worked to the landing, in wind that trims one by 15 %: nobody calls one.

    Their firmware counts severities from 1, low, and says what it reached at that: no warning may come of it.
    """
    _, happened = replay(require_data(f"flights/{name}.tlog"), shipped())
    raised = {change.rule for change in happened if isinstance(change, AlertChange) and change.change == "raised"}
    assert not raised & {
        "motor-balance",
        "motor-stopped",
        "motor-controller",
        "aircraft-warns",
        "aircraft-cautions",
    }
    # 1234 clipped accelerations in its own counters, on one recording only
    assert ("vibration-clipping" in raised) is (name == "quad-3s-five-flights")

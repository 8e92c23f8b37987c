"""Lists as they come: over the air in both codings, a real one that is not whole, and beside a baseline."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import replace

import pytest

from simulators.onboard.parameters import parameters
from tests.aircraft.feeder import GENERIC, PX4, Flight
from tests.aircraft.test_settings import A_PX4
from tests.brief.comparing import ASKED, FITTING, RETURN, rows_of, seen_of
from tests.conftest import RequireData
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.parameters import BYTEWISE, CAST
from watchkeeper.brief.asked import LowBattery, Trigger, Window
from watchkeeper.brief.compare import compare, differences
from watchkeeper.brief.findings import SettingsToday
from watchkeeper.edges.records.parameters_of import parameters_of


def sent(encoding: int, *, told: bool) -> SeenParameters:
    """Return the fitting list as it comes over the air, its integers coded one way or the other."""
    flight = Flight(autopilot=GENERIC)
    flight.beat()
    if told:
        flight.send("AUTOPILOT_VERSION", capabilities=encoding, uid2=[0] * 18)
    integers = {one.name for one in parameters().definitions if one.integer}
    for index, (name, value) in enumerate(FITTING.items()):
        assert value is not None
        raw = (
            struct.pack("<i", round(value))
            if encoding == BYTEWISE and name in integers
            else struct.pack("<f", value)
        )
        flight.send(
            "PARAM_VALUE",
            param_id=name,
            param_value=struct.unpack("<f", raw)[0],
            param_type=6 if name in integers else 9,  # MAV_PARAM_TYPE_INT32, REAL32
            param_count=len(FITTING),
            param_index=index,
        )
    found = flight.aircraft.parameters
    assert found.complete
    return SeenParameters("air", GENERIC, found.version, flight.aircraft.vehicle, found.values, found.complete)


@pytest.mark.parametrize("encoding", [CAST, BYTEWISE])
def test_both_codings_of_integers_over_the_air_fit_alike(encoding: int) -> None:
    rows = rows_of(sent(encoding, told=True))
    assert {row.verdict for row in rows.values()} == {"fits"}
    assert rows["end of the return"].has.startswith("climb, cruise, descend, hold, land")


@pytest.mark.parametrize("encoding", [CAST, BYTEWISE])
def test_a_coding_that_is_not_told_makes_no_integer_fit(encoding: int) -> None:
    seen = sent(encoding, told=False)
    today = compare(seen, settings_of(seen), ASKED)
    integers = {one.name for one in parameters().definitions if one.integer}
    for row in today.rows:
        assert (row.verdict == "fits") is not bool({*row.own} & integers)
    assert any("how they are coded" in remark.what for remark in today.remarks)


def test_a_real_list_that_is_not_whole(require_data: RequireData) -> None:
    """Set to return at 15 m and 5 m/s and to nothing at a low battery (tests/aircraft/test_settings_flown.py)."""
    seen = parameters_of(require_data("flights/quad-return-61m.tlog"))
    small = replace(
        ASKED,
        return_height_m=Window(10.0, 60.0, 15.0),
        plan_highest_m=20.0,
        hold_least_m=None,
        low_battery=LowBattery({"voltage": Trigger(10.9, 11.1, 10.4)}, used_share={0: 1.0}),
        free_around_m=math.inf,
    )
    today = compare(seen, settings_of(seen), small, seen)
    rows = {row.name: row for row in today.rows}
    assert (today.count, today.complete) == (772, False)
    assert any("772 of the aircraft's 797" in remark.what for remark in today.remarks)
    assert (rows["return height"].verdict, rows["return height"].has) == ("fits", "15 m")
    assert rows["return speed"].verdict == rows["end of the return"].verdict == "fits"
    assert (rows[RETURN].verdict, rows[RETURN].weight) == ("differs", "warning")
    assert rows[RETURN].changes == ("FS_BATT_VOLTAGE: 10.5 -> 10.9 V", "FS_BATT_ENABLE: 0 -> 2")
    # its firmware has no parameter for how long the link may be lost
    assert rows["control link lost"].verdict == "not understood"
    assert today.differences == ()


def against(baseline: Mapping[str, float | None], here: Mapping[str, float | None] = FITTING) -> SettingsToday:
    seen = seen_of(here)
    return compare(seen, settings_of(seen), ASKED, seen_of(baseline))


def test_a_baseline_of_the_same_numbers_does_not_differ() -> None:
    rounded = {name: None if value is None else float(f"{value:.7g}") for name, value in FITTING.items()}
    assert against(rounded).differences == ()
    seen = seen_of(FITTING)
    assert compare(seen, settings_of(seen), ASKED).differences is None


def test_differences_are_sorted_and_say_what_they_mean() -> None:
    here = {**FITTING, "A_NEW": 1.0, "Z_OTHER": 2.0, "Y_SAME": 3.0}
    there = {**FITTING, "return.height_m": 40.0, "low1.action": 3.0, "B_OLD": 4.0, "Z_OTHER": 2.5, "Y_SAME": 3.0}
    del there["low3.latch"]
    found = against(there, here).differences
    assert found is not None
    assert [(one.name, one.here, one.baseline) for one in found] == [
        ("low1.action", "2", "3"),
        ("low3.latch", "1", ""),
        ("return.height_m", "48", "40"),
        ("A_NEW", "1", ""),
        ("B_OLD", "", "4"),
        ("Z_OTHER", "2", "2.5"),
    ]
    assert found[2].means == "return height: 48 m, baseline 40 m"
    assert "low1 by voltage: action: return, baseline land" in found[0].means
    assert [one.means for one in found[3:]] == ["", "", ""]


@pytest.mark.parametrize(
    ("one", "other", "differ"), [(0.8, 0.800000012, False), (45.2, 45.20001, True), (0.0, 1e-7, True)]
)
def test_float32_rounding_is_no_difference(one: float, other: float, differ: bool) -> None:
    """0.800000012 is the float32 next to 0.8 (IEEE 754); 45.20001 is another number of seven digits."""
    found = differences(seen_of({"A": one}), seen_of({"A": other}))
    assert bool(found) is differ


def test_what_is_not_understood_is_never_the_same() -> None:
    today = against(
        {**FITTING, "return.height_m": None}, {**FITTING, "low1.action": None, "return.height_m": None}
    )
    assert today.differences is not None
    assert [(one.name, one.here, one.baseline) for one in today.differences] == [
        ("low1.action", "not understood", "2")
    ]
    assert any("1 parameters are not understood on either side" in remark.what for remark in today.remarks)


def test_a_baseline_of_another_aircraft_is_remarked() -> None:
    seen = seen_of(FITTING)
    today = compare(seen, settings_of(seen), ASKED, seen_of(A_PX4, PX4))
    assert [remark.about for remark in today.remarks] == ["baseline", "baseline"]

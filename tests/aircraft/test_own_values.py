"""What to change so that a setting is as wanted: proved by reading it back, over every setting of every table."""

from __future__ import annotations

import math
import random
import struct

import pytest

from simulators.onboard.parameters import parameters
from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4
from tests.aircraft.test_settings import A_PX4, AN_ARDUPILOT, everything, simulated, version
from watchkeeper.aircraft.autopilots import Reader, tables
from watchkeeper.aircraft.own_values import PARTS, Written, with_changes, write_setting, write_stage
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.vocabulary import VOCABULARY, Kind, Value

OLD_ARDUPILOT: dict[str, float | None] = {
    **{name: value for name, value in AN_ARDUPILOT.items() if not name.startswith(("BATT_", "BATT2", "FS_OPT"))},
    "FS_BATT_ENABLE": 2, "FS_BATT_VOLTAGE": 43.2, "FS_BATT_MAH": 3000, "BATT_VOLT_TIMER": 10, "BATT_MONITOR": 4,
    "BATT_CAPACITY": 22000,
}  # fmt: skip
for _name in (
    "RTL_ALT_TYPE",
    "FENCE_AUTOENABLE",
    "PSC_ANGLE_MAX",
    "LAND_ALT_LOW",
    "FS_GCS_TIMEOUT",
    "RC_FS_TIMEOUT",
):
    del OLD_ARDUPILOT[_name]
NEW_ARDUPILOT: dict[str, float | None] = {
    **AN_ARDUPILOT,
    "RTL_ALT_M": 30, "RTL_ALT_FINAL_M": 0, "RTL_CLIMB_MIN_M": 5, "RTL_SPEED_MS": 6, "WP_SPD": 9, "WP_SPD_UP": 2.5,
    "WP_SPD_DN": 1.5, "WP_ACC": 1.8, "LAND_SPD_MS": 0.6, "LAND_SPD_HIGH_MS": 1.2, "LAND_ALT_LOW_M": 8,
    "ATC_ANGLE_MAX": 35,
}  # fmt: skip
for _name in (
    "RTL_ALT", "RTL_ALT_FINAL", "RTL_CLIMB_MIN", "RTL_SPEED", "WPNAV_SPEED", "WPNAV_SPEED_UP", "WPNAV_SPEED_DN",
    "WPNAV_ACCEL", "LAND_SPEED", "LAND_SPEED_HIGH", "LAND_ALT_LOW", "ANGLE_MAX",
):  # fmt: skip
    del NEW_ARDUPILOT[_name]
LISTS = {
    "simulated": SeenParameters("x", GENERIC, None, 2, simulated({"station.lost_s": 5.0}), complete=True),
    "one": SeenParameters("x", ARDUPILOT, version(4, 3), 2, AN_ARDUPILOT, complete=False),
    "one, old": SeenParameters("x", ARDUPILOT, version(3, 5), 2, OLD_ARDUPILOT, complete=False),
    "one, new": SeenParameters("x", ARDUPILOT, version(4, 7), 2, NEW_ARDUPILOT, complete=False),
    "other": SeenParameters("x", PX4, version(1, 14), 2, A_PX4, complete=False),
}
CASES = [
    (of, name, stage)
    for of, seen in LISTS.items()
    for name, stage in [
        *((name, "") for name in VOCABULARY),
        *((part, stage.name) for stage in tables()[seen.autopilot or 0].stages for part in PARTS),
    ]
]


def kind_of(seen: SeenParameters, name: str, stage: str) -> Kind:
    if not stage:
        return VOCABULARY[name]
    table = next(one for one in tables()[seen.autopilot or 0].stages if one.name == stage)
    return table.parts[name][0]


def wanted_of(kind: Kind, seed: str) -> list[Value]:
    dice = random.Random(seed)
    values: list[Value] = []
    if kind.several:
        values += [tuple(dice.sample(kind.words, dice.randint(0, len(kind.words)))) for _ in range(5)]
        values += [("climb", "cruise", "hold", "land")] if "climb" in kind.words else []
    else:
        values += kind.words
    if kind.least <= kind.most:
        high = min(kind.most, 20.0 * max(1.0, kind.least))
        values += [kind.least, kind.most, *(round(dice.uniform(kind.least, high), 2) for _ in range(3))]
        values += [float(round(dice.uniform(kind.least, high))) for _ in range(2)]
    return [value for value in values if kind.allows(value)]


def write(seen: SeenParameters, name: str, stage: str, wanted: Value) -> Written:
    return write_stage(seen, stage, name, wanted) if stage else write_setting(seen, name, wanted)


def single(value: float) -> float:
    return float(struct.unpack("<f", struct.pack("<f", value))[0])


@pytest.mark.parametrize(("of", "name", "stage"), CASES)
def test_what_is_written_is_read_back(of: str, name: str, stage: str) -> None:
    seen = LISTS[of]
    key = f"{stage}: {name}" if stage else name
    before = everything(settings_of(seen))
    for wanted in wanted_of(kind_of(seen, name, stage), f"{of} {key}"):
        written = write(seen, name, stage, wanted)
        if written.changes is None:
            assert written.why
            continue
        assert {change.name for change in written.changes} <= seen.values.keys()
        # as the aircraft will send it: a float32
        changed = {change.name: single(change.number) for change in written.changes}
        after = with_changes(seen, written.changes)
        assert changed == pytest.approx({n: v for n, v in after.values.items() if n in changed})
        sent = SeenParameters(
            "x", seen.autopilot, seen.version, seen.vehicle, {**seen.values, **changed}, seen.complete
        )
        found = everything(settings_of(sent))
        value = found[key].value
        if isinstance(wanted, float | int):
            assert value == pytest.approx(wanted, rel=2e-5, abs=1e-9)
        else:
            assert value == wanted
        # and what else it changes is said
        others = {n for n, one in before.items() if one.value is not None and found.get(n, one).value != one.value}
        gone = {n for n, one in before.items() if one.value is not None and n not in found}
        assert {*written.also} == (others | gone) - {key}


def steps_of(seen: SeenParameters, name: str) -> list[Reader]:
    readings = tables()[seen.autopilot or 0].settings.get(name, ())
    return [step for reading in readings for cell in reading for step in cell.steps]


def test_numbers_can_be_written_wherever_the_table_has_a_plain_unit() -> None:
    """The inverse is no promise unless it also gives answers: all numbers of settings that one name decides."""
    counts: dict[str, int] = {}
    for of, seen in LISTS.items():
        settings = settings_of(seen)
        for name, kind in VOCABULARY.items():
            steps = {step.name: step for step in steps_of(seen, name)}
            names = settings[name].names
            plain = [step for n, step in steps.items() if n in names and step.numeric and not step.plus]
            if settings[name].number is None or not plain or any(step.cotangent for step in plain):
                continue
            half = 0.5 * (kind.least + min(kind.most, 3.0 * max(1.0, settings[name].number or 0.0)))
            within = [step for step in plain if step.least <= half / step.factor <= step.most]
            if within:
                assert write_setting(seen, name, round(half, 1)).changes is not None, (of, name)
                counts[of] = counts.get(of, 0) + 1
    assert min(counts.values()) > 10


def test_the_simulated_aircraft_can_be_set_to_every_word_and_back() -> None:
    seen = LISTS["simulated"]
    for link in ("control", "station", "fence", "position"):
        for word in ("report", "hold", "return", "land", "height_hold", "stop_motors"):
            assert (
                write_setting(seen, f"{link}_action" if link == "fence" else f"{link}_lost_action", word).changes
                is not None
            )
    bounds = {one.name: (one.minimum, one.maximum) for one in parameters().definitions}
    written = write_setting(seen, "return_hold_s", "endless")
    assert written.changes is not None
    (change,) = written.changes
    assert bounds["return.hold_s"][0] <= change.number < 0.0


@pytest.mark.parametrize(
    ("of", "name", "wanted", "safe", "shown", "value"),
    [
        ("simulated", "return_height_m", 45.23, "up", "return.height_m: 40 -> 45.3 m", 45.3),
        ("simulated", "return_height_m", 45.23, "down", "return.height_m: 40 -> 45.2 m", 45.2),
        ("simulated", "return_height_m", 45.3, "up", "return.height_m: 40 -> 45.3 m", 45.3),
        ("one", "return_height_m", 45.23, "up", "RTL_ALT: 3000 -> 4530 cm", 45.3),
        ("one, new", "return_height_m", 45.23, "up", "RTL_ALT_M: 30 -> 45.3 m", 45.3),
        ("one", "return_hold_s", 20.0, None, "RTL_LOIT_TIME: 12000 -> 20000 ms", 20.0),
        ("one", "control_lost_kept", ("mission",), None, "FS_OPTIONS: 16 -> 17", ("mission",)),
        ("simulated", "control_lost_s", 4.7, "down", "control.lost_s: 3 -> 4 s", 4.0),
        ("simulated", "control_lost_s", 0.57, "down", "control.lost_s: 3 -> 0.5 s", 0.5),
        # a step that turns it towards home first stays where it was
        (
            "simulated", "return_order", ("climb", "cruise", "hold", "land"), None,
            "return.order: 123456 -> 12356", ("climb", "cruise", "hold", "land"),
        ),
    ],
)  # fmt: skip
def test_changes_in_the_aircrafts_own_names_and_units(
    of: str, name: str, wanted: Value, safe: str | None, shown: str, value: Value
) -> None:
    written = write_setting(LISTS[of], name, wanted, safe)  # type: ignore[arg-type]
    assert [str(change) for change in written.changes or ()] == [shown]
    assert written.value == value


@pytest.mark.parametrize(("wanted", "safe"), [(45.11, "up"), (45.19, "down"), (45.1, "up"), (45.1, "down")])
def test_a_rounded_threshold_lies_on_the_safe_side(wanted: float, safe: str) -> None:
    written = write_stage(LISTS["simulated"], "low1 by voltage", "threshold", wanted, safe)  # type: ignore[arg-type]
    assert isinstance(written.value, float)
    off = (written.value - wanted) * (1.0 if safe == "up" else -1.0)
    assert -1e-9 <= off < 0.1
    assert math.isclose(written.value * 10.0, round(written.value * 10.0))


@pytest.mark.parametrize(
    ("of", "name", "wanted", "why"),
    [
        ("other", "control_lost_s", 3.0, "sum of COM_RC_LOSS_T and COM_FAIL_ACT_T"),
        ("other", "return_cone_slope", 3.0, "angle"),
        ("one", "return_height_m", 4500.0, "outside 2 to 1000"),
        ("one", "return_cone_slope", 15.0, "outside 0.5 to 10"),
        ("one", "return_height_m", "off", "nothing that this setting can be"),
        ("one", "fence_action", "height_hold", "no number of"),
        ("one", "pack_resistance_ohm", 0.02, "no parameter"),
        ("one", "return_near_m", 10.0, "no parameter"),
        ("other", "pack_resistance_ohm", 0.02, "nothing is known"),
        ("simulated", "return_order", 4.0, "no number"),
    ],
)
def test_what_cannot_be_said_says_why(of: str, name: str, wanted: Value, why: str) -> None:
    written = write_setting(LISTS[of], name, wanted)
    assert written.changes is None
    assert why in written.why


def test_two_names_for_one_thing_are_not_set_apart() -> None:
    both = {**A_PX4, "BAT_CAPACITY": 16000.0}
    seen = SeenParameters("x", PX4, version(1, 14), 2, both, complete=False)
    written = write_setting(seen, "pack_capacity_mah", 22000.0)
    assert written.changes is None
    assert "so that they agree" in written.why


def test_nothing_is_written_of_what_was_not_seen_or_is_no_kind_known() -> None:
    values = simulated()
    del values["return.height_m"]
    written = write_setting(SeenParameters("x", GENERIC, None, 2, values, complete=False), "return_height_m", 50.0)
    assert written.changes is None
    for autopilot in (None, 14):
        seen = SeenParameters("x", autopilot, None, 2, simulated(), complete=True)
        assert write_setting(seen, "return_height_m", 50.0).changes is None
        assert write_stage(seen, "low1 by voltage", "threshold", 45.0).changes is None
    with pytest.raises(KeyError):
        write_setting(seen, "no_such_setting", 1.0)
    with pytest.raises(KeyError):
        write_stage(seen, "low1 by voltage", "name", 1.0)


def test_what_is_so_already_needs_no_change() -> None:
    assert write_setting(LISTS["simulated"], "return_height_m", 40.0).changes == ()


def test_a_number_that_was_not_understood_can_be_replaced() -> None:
    seen = SeenParameters("x", GENERIC, None, 2, {**simulated(), "return.height_m": None}, complete=True)
    written = write_setting(seen, "return_height_m", 50.0)
    assert [str(change) for change in written.changes or ()] == ["return.height_m: ? -> 50 m"]

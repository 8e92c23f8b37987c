"""Low-battery thresholds in the measure of each stage: checked by hand, the numbers beside each test."""

from __future__ import annotations

from dataclasses import replace

from tests.aircraft.feeder import ARDUPILOT, PX4
from tests.aircraft.test_settings import A_PX4, AN_ARDUPILOT, version
from tests.brief.comparing import ASKED, LOW, RETURN, TRIGGERS, of, rows_of, seen_of
from watchkeeper.brief.asked import Asked, Trigger
from watchkeeper.brief.findings import SettingRow


def test_a_compensated_threshold_is_scaled_to_the_aircrafts_own_resistance() -> None:
    """By hand: as measured 44.2 V, the drop 0.96 V at 16 mohm; at 24 mohm it takes the packs for 45.64 V then."""
    assert of({"low.pack_ohm": 0.024})[RETURN].verdict == "differs"
    assert of({"low.pack_ohm": 0.024})[RETURN].changes == ("low1.volt_v: 45.2 -> 45.7 V",)
    assert of({"low.pack_ohm": 0.024, "low1.volt_v": 45.65})[RETURN].verdict == "fits"
    assert of({"low.pack_ohm": 0.024, "low1.volt_v": 45.63})[RETURN].verdict == "differs"
    # without compensation in earnest it is the measured voltage, which sags on the way out
    assert "a climb takes it there" in of({"low.pack_ohm": 0.0})[RETURN].why
    blind = replace(ASKED, low_battery=replace(LOW, pack_ohm=None))
    assert of({}, blind)[RETURN].verdict == "not understood"


def test_charge_left_counts_from_the_aircrafts_own_capacity() -> None:
    """By hand: half of 29 000 mAh used at the threshold, out of 22 000: it has to act with 7 500 mAh left."""

    def row(left_mah: float, capacity: float | None = 22_000, asked: Asked = ASKED) -> SettingRow:
        values = {**AN_ARDUPILOT, "BATT_LOW_VOLT": 0, "BATT_LOW_MAH": left_mah, "BATT_CAPACITY": capacity}
        return rows_of(seen_of(values, ARDUPILOT, told=version(4, 3), complete=False), asked)[RETURN]

    assert row(7_500).verdict == "fits"
    assert (row(7_490).verdict, row(7_490).weight) == ("differs", "warning")
    assert row(7_490).changes == ("BATT_LOW_MAH: 7490 -> 7500 mAh",)
    assert row(12_600).verdict == "differs"  # 9 500 of 22 000 are used on the way out
    assert row(7_500, None).verdict == "not understood"
    assert row(5_500, 20_000).verdict == "fits"
    unknown = replace(ASKED, low_battery=replace(LOW, used_share={}))
    assert row(7_500, asked=unknown).verdict == "not understood"


def test_a_gauge_counts_only_from_the_right_capacity() -> None:
    asked = replace(
        ASKED, low_battery=replace(LOW, triggers={"gauge": Trigger(18.0, 55.0, 9.0)}, delay_most_s=5.0)
    )
    values = {**A_PX4, "BAT1_CAPACITY": 22_000}
    right = rows_of(seen_of(values, PX4, told=version(1, 14), complete=False), asked)[RETURN]
    assert (right.verdict, right.why) == (
        "not understood",
        "for how long it must hold: nothing is known of this for this autopilot and firmware",
    )
    for capacity in (16_000, -1, None):
        wrong = rows_of(seen_of({**values, "BAT1_CAPACITY": capacity}, PX4, told=version(1, 14)), asked)[RETURN]
        assert wrong.verdict == "not understood"
        assert "for how long" not in wrong.why


def test_without_a_threshold_of_today_no_stage_is_judged() -> None:
    rows = of({}, replace(ASKED, low_battery=None))
    battery = {name: row.verdict for name, row in rows.items() if name.startswith("low battery")}
    assert {*battery.values()} == {"not understood"}
    assert (
        of({"low2.action": 5.0}, replace(ASKED, low_battery=None))[
            "low battery: low2 by voltage not too early"
        ].weight
        == "warning"
    )
    no_home = replace(LOW, triggers={**TRIGGERS, "compensated_voltage": Trigger(45.16, 46.0)})
    row = of({}, replace(ASKED, low_battery=no_home))["low battery: low2 by voltage not too early"]
    assert row.verdict == "not understood"

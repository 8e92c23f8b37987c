"""Reasons to wait with a take-off, through the whole engine. What counts as one is the trade's (facts.md 14).

Each reason is shown to come and to go; what the watch cannot see is one of them.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.recordings import shipped
from tests.test_engine import T0
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import (
    AlertChange,
    Change,
    Happening,
    Level,
    Order,
    Preparation,
    Refusal,
    RoutineCall,
    Step,
)
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder
from watchkeeper.rules.load import RuleSet

CREW = """
home: [0.001, 0.002]
checklist: [rotor latches, pack connectors]
crew: {roles: [pilot, observer], moving: true}
"""
FILE = load_aircraft_file(
    "packs: {cells: 12, capacity: 22 Ah, count: 2, monitors: {0: pack 1, 1: pack 2}}", "a.yaml"
)
FULL_MV, HALF_MV = 50_300, 45_900
ARMED = 128


class Ground:
    """An aircraft on the ground that sends all a crew could wish for."""

    def __init__(self, sortie: str | None = CREW, rules: RuleSet | None = None) -> None:
        found = load_sortie_file(sortie, "s.yaml") if sortie is not None else None
        self.engine = Engine(rules or shipped(), [FILE], found)
        self.air = Encoder(7, 1)
        self.station = Encoder(255, 190)
        self.radio = Encoder(51, 68)
        self.whole = False
        """Whether it also sends what else the rules look at on the ground."""
        self.armed = False
        self.landed = 1
        self.fix = 3
        self.packs_mv = [FULL_MV, FULL_MV]
        self.plan: int | None = None
        self.station_at: tuple[int, int] | None = None
        self.second = 0.0
        self.silent = False
        self.happened: list[Happening] = []

    def run(self, seconds: float) -> list[Happening]:
        """Let it send for some seconds; returns what happened."""
        before = len(self.happened)
        for _ in range(round(seconds * 4)):
            self.second += 0.25
            data = b"" if self.silent else self._frames()
            self.happened += self.engine.receive("a", data, T0 + self.second)
        return self.happened[before:]

    def _frames(self) -> bytes:
        encode, boot = self.air.encode, round((100 + self.second) * 1000)
        frames = [
            encode("HEARTBEAT", type=13, autopilot=0, base_mode=ARMED if self.armed else 0, mavlink_version=3),
            encode("CURRENT_MODE", standard_mode=1),
            encode("EXTENDED_SYS_STATE", landed_state=self.landed),
            encode("GLOBAL_POSITION_INT", time_boot_ms=boot, lat=10_000, lon=20_000),
            encode("GPS_RAW_INT", fix_type=self.fix, satellites_visible=20, eph=80, epv=100),
        ]
        for number, millivolts in enumerate(self.packs_mv):
            frames.append(
                encode(
                    "BATTERY_STATUS", id=number, voltages=[millivolts, *[65535] * 9], current_battery=100,
                    battery_remaining=99 if self.whole else -1, current_consumed=-1, energy_consumed=-1,
                    temperature=2000,
                )
            )  # fmt: skip
        if self.whole:
            frames.append(encode("ATTITUDE", time_boot_ms=boot))
            sensors = {f"onboard_control_sensors_{of}": 0x3F for of in ("present", "enabled", "health")}
            frames.append(
                encode("SYS_STATUS", **sensors, voltage_battery=65535, current_battery=-1, battery_remaining=-1)
            )
            frames.append(
                self.radio.encode("RADIO_STATUS", rssi=200, remrssi=198, noise=40, remnoise=42, txbuf=100)
            )
        if self.plan is not None:
            frames.append(encode("MISSION_CURRENT", seq=0, total=self.plan, mission_state=2))
        frames.append(self.station.encode("HEARTBEAT", type=6, autopilot=8, mavlink_version=3))
        if self.station_at is not None:
            frames.append(
                self.station.encode("GLOBAL_POSITION_INT", lat=self.station_at[0], lon=self.station_at[1])
            )
        return b"".join(frames)

    def order(self, action: str, **fields: Any) -> list[Happening]:
        happened = self.engine.order(Order(action, aircraft=7, **fields), T0 + self.second)
        self.happened += happened
        return happened

    @property
    def reasons(self) -> tuple[str, ...]:
        return self.engine.reasons(7)

    def of(self, subject: str) -> list[str]:
        return [reason for reason in self.reasons if reason.startswith(subject)]

    def prepare(self) -> None:
        self.run(3)
        for item in ("rotor latches", "pack connectors"):
            assert [step.step for step in steps(self.order("check", text=item))] == [Step.CHECKED]
        self.order("test")
        for role in ("pilot", "observer"):
            self.order("given", role=role, by="voice")
            assert [step.step for step in steps(self.order("confirm", role=role))] == [Step.CONFIRMED]
        self.run(50)  # until then the watch is still looking at what is sent


def raised(happened: list[Happening], rule: str) -> list[AlertChange]:
    return [h for h in happened if isinstance(h, AlertChange) and h.rule == rule and h.change is Change.RAISED]


def steps(happened: list[Happening]) -> list[Preparation]:
    return [h for h in happened if isinstance(h, Preparation)]


def called(happened: list[Happening], rule: str) -> list[RoutineCall]:
    return [h for h in happened if isinstance(h, RoutineCall) and h.rule == rule]


def test_checklist_and_roles_are_reasons_until_they_are_done_and_then_it_is_said_once() -> None:
    ground = Ground()
    ground.whole, ground.plan = True, 65535
    ground.run(3)
    assert ground.of("Checklist") == []  # nobody has begun it: it may be kept on paper
    ground.order("uncheck", text="rotor latches")
    ground.run(1)
    assert ground.of("Checklist") == ["Checklist. Open: rotor latches.", "Checklist. Open: pack connectors."]
    assert len(ground.of("Crew")) == 2
    ground.prepare()
    assert ground.reasons == ()
    ground.run(10)
    [clear] = called(ground.happened, "take-off-clear")
    assert clear.callout == "Nothing known against take-off."
    ground.order("uncheck", text="rotor latches")
    ground.run(65)
    [wait] = raised(ground.happened, "take-off-wait")
    assert (wait.level, ground.of("Checklist")) == (Level.ADVISORY, ["Checklist. Open: rotor latches."])


def test_what_is_no_item_and_no_role_asked_is_refused() -> None:
    ground = Ground()
    ground.run(3)
    for action, fields in (("check", {"text": "wings"}), ("uncheck", {"text": ""}), ("confirm", {"role": "post"})):
        [answer] = ground.order(action, **fields)
        assert isinstance(answer, Refusal)
    ground.run(1)
    assert ground.of("Checklist") == []
    [unknown] = ground.engine.order(Order("check", aircraft=9, text="rotor latches"), T0 + ground.second)
    assert isinstance(unknown, Refusal)


@pytest.mark.parametrize("fix", [0, 1, 2])
def test_without_a_fix_in_three_dimensions_there_is_no_home(fix: int) -> None:
    ground = Ground()
    ground.fix = fix
    ground.prepare()
    assert ground.of("Position. No satellite fix")
    ground.fix = 3
    ground.run(2)
    assert not ground.of("Position. No")


def test_packs_that_are_not_full_or_not_equal_are_reasons() -> None:
    ground = Ground()
    ground.packs_mv = [FULL_MV, HALF_MV]
    ground.prepare()
    assert ground.of("Battery. Not full")
    assert ground.of("Battery. Packs differ")


def test_an_aircraft_that_falls_silent_is_a_reason_and_old_values_are_none_to_fly_on() -> None:
    ground = Ground()
    ground.prepare()
    ground.silent = True
    ground.run(20)
    assert ground.of("Telemetry. The aircraft is silent.")


def test_settings_that_do_not_fit_and_those_that_could_not_be_compared() -> None:
    ground = Ground()
    ground.prepare()
    ground.order("settings", ok=False)
    ground.run(1)
    assert ground.of("Settings") == ["Settings. Not compared with today's, for want of parameters."]
    ground.order("settings", ok=True, text="return height 20 m, today asks 40 to 60 m\nfence off")
    ground.run(1)
    assert ground.of("Settings") == [
        "Settings. return height 20 m, today asks 40 to 60 m.",
        "Settings. fence off.",
    ]
    ground.order("settings", ok=True, text="\n".join(f"row {n}" for n in range(10_000)))
    ground.run(1)
    assert 10 < len(ground.of("Settings")) < 100
    ground.order("settings", ok=True, text="")
    ground.run(1)
    assert not ground.of("Settings")


def test_a_plan_that_today_does_not_name_is_called_and_one_without_a_sortie_file_is_told() -> None:
    ground = Ground()
    ground.plan = 4
    ground.prepare()
    [alert] = raised(ground.happened, "plan-loaded")
    assert alert.level is Level.CAUTION
    ground.run(1)
    assert ground.of("Plan.")
    ground.plan = 65535  # MAVLink: no plan
    ground.run(3)
    assert not ground.of("Plan.")
    alone = Ground(None)
    alone.plan = 4
    alone.run(8)
    assert raised(alone.happened, "plan-present")
    assert not raised(alone.happened, "plan-loaded")
    none = Ground(None)
    none.run(8)
    assert not raised(none.happened, "plan-present")  # nobody has said that there is one


@pytest.mark.parametrize(("point", "wanted"), [("[0.0032, 0.002]", True), ("[0.01, 0.002]", False)])
def test_a_plan_is_todays_where_the_sortie_names_its_points(point: str, wanted: bool) -> None:
    ground = Ground(f"{CREW}\nplan: [{{at: {point}, height: 30 m}}]")
    ground.plan = 1
    item = ground.air.encode(
        "MISSION_ITEM_INT", seq=0, command=16, x=32_000, y=20_000, target_system=255, target_component=190
    )
    ground.engine.receive("a", item, T0)
    ground.prepare()
    ground.engine.receive("a", item, T0 + ground.second)
    ground.run(6)
    assert bool(ground.of("Plan.")) is not wanted


def test_arming_with_reasons_is_told_and_in_the_air_there_are_none() -> None:
    ground = Ground()
    ground.prepare()
    ground.order("uncheck", text="rotor latches")
    ground.run(2)
    ground.armed = True
    ground.run(2)
    [told] = raised(ground.happened, "armed-with-reasons")
    assert told.level is Level.ADVISORY
    ground.landed = 2
    ground.run(3)
    assert ground.reasons == ()
    ground.landed, ground.armed = 1, False
    ground.run(8)
    assert ground.of("Checklist")  # for the next flight all is to be done anew


def test_one_who_stays_armed_on_the_ground_is_told_after_a_minute() -> None:
    ground = Ground()
    ground.prepare()
    ground.armed = True
    ground.run(58)
    assert not raised(ground.happened, "armed-not-away")
    ground.run(4)
    assert len(raised(ground.happened, "armed-not-away")) == 1


def test_home_and_crew_apart_is_a_caution_where_the_station_tells_its_place() -> None:
    ground = Ground()
    ground.prepare()
    ground.armed = True
    ground.run(3)
    assert raised(ground.happened, "home-stays")  # the crew moves, and nobody knows where it is
    ground.station_at = (10_000, 20_000 + 8_000)  # 89 m east on the equator (WGS-84: 111 319.5 m a degree)
    ground.run(15)
    assert not raised(ground.happened, "crew-elsewhere")
    ground.station_at = (10_000, 20_000 + 9_500)  # 106 m
    ground.run(15)
    [alert] = raised(ground.happened, "crew-elsewhere")
    assert alert.callout is not None
    assert "106 metres" in alert.callout


def test_standing_alerts_are_reasons_but_not_those_that_tell_of_them() -> None:
    ground = Ground()
    ground.packs_mv = [FULL_MV, HALF_MV]
    ground.run(65)
    assert raised(ground.happened, "take-off-wait")
    assert not [reason for reason in ground.reasons if reason.startswith("Take-off")]
    ground.engine.order(Order("report", rule="voice", ok=False, text="voice not working"), T0 + ground.second)
    ground.run(2)
    assert any("voice not working" in reason for reason in ground.reasons)

"""Acknowledging by a switch of the pilot's transmitter, through the whole engine; and sightings in a replay."""

from __future__ import annotations

from pathlib import Path

from tests.alerts.driver import pack, rule
from tests.test_engine import T0, Plane
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.alerts.events import AlertChange, Change, Happening, Order, RoutineCall, State
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.jsonlines import decision_line
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.engine import Engine

CEILING = 'id: high\nlevel: warning\nwhen: position.height > 50 m\nsay: "Height. High. Descend."\nrepeat: 10 s'
HIGHER = 'id: higher\nlevel: caution\nwhen: position.height > 90 m\nsay: "Height. Higher. Descend."\nrepeat: 10 s'
RULES = pack(rule(CEILING), rule(HIGHER))
SORTIE = "crew: {acknowledge_channel: 9}"
LOW, HIGH = 1000, 2000


class Sticks:
    """Aircraft in the air with transmitters, an engine, and a recorder beside it."""

    def __init__(self, folder: Path | None = None, *systems: int, sortie: str = SORTIE) -> None:
        self.engine = Engine(RULES, (), load_sortie_file(sortie, "s.yaml"))
        self.planes = [Plane(system) for system in systems or (7,)]
        self.widths = dict.fromkeys(systems or (7,), LOW)
        self.parameters: dict[str, float] | None = {"return.order": 136.0}
        self.step = 0
        self.now_us = round(T0 * 1e6)
        self.lines: list[str] = []
        self.recorder = Recorder(folder, _no_report, self.now_us) if folder is not None else None
        self._take(self.engine.tick(T0))

    def run(self, seconds: float) -> list[Happening]:
        happened: list[Happening] = []
        for _ in range(round(seconds * 4)):
            self.step += 1
            self.now_us += 250_000
            for plane in self.planes:
                happened += self.receive(plane.frames(self.step / 4) + self.sticks(plane))
        return happened

    def sticks(self, plane: Plane) -> bytes:
        encode = plane.encoder.encode
        widths = {f"chan{n}_raw": 1500 for n in range(1, 19)} | {"chan9_raw": self.widths[plane.encoder.system]}
        frames = encode("RC_CHANNELS", chancount=16, rssi=180, **widths)
        if self.parameters is not None and self.step % 8 == 1:
            for name, value in self.parameters.items():
                total = len(self.parameters)
                frames += encode(
                    "PARAM_VALUE", param_id=name.encode(), param_value=value, param_type=9, param_count=total
                )
        return frames

    def receive(self, data: bytes) -> list[Happening]:
        if self.recorder is not None:
            self.recorder.received("udp://a", data, self.now_us)
        return self._take(self.engine.receive("udp://a", data, self.now_us / 1e6))

    def order(self, order: Order) -> list[Happening]:
        self.now_us += 1
        if self.recorder is not None:
            self.recorder.ordered(order, self.now_us)
        return self._take(self.engine.order(order, self.now_us / 1e6))

    def _take(self, happened: list[Happening]) -> list[Happening]:
        self.lines += [decision_line(one, exercise=False) for one in happened]
        return happened

    @property
    def states(self) -> dict[tuple[str, int | None], State]:
        return {(a.rule, a.aircraft): a.state for a in self.engine.alerts() if a.rule != "watch-blind"}


def _no_report(part: str, ok: bool, text: str) -> None:
    raise AssertionError((part, ok, text))


def acknowledged(happened: list[Happening]) -> list[tuple[str, int | None, str | None, str]]:
    return [
        (one.rule, one.aircraft, one.by, one.reason)
        for one in happened
        if isinstance(one, AlertChange) and one.change is Change.ACKNOWLEDGED
    ]


def called(happened: list[Happening]) -> list[tuple[str, str]]:
    return [(one.rule, one.callout) for one in happened if isinstance(one, RoutineCall)]


def test_a_flip_acknowledges_for_the_pilot_and_says_so() -> None:
    sticks = Sticks()
    sticks.run(5)
    sticks.planes[0].height_m = 60
    sticks.run(3)
    sticks.widths[7] = HIGH
    happened = sticks.run(3)
    assert acknowledged(happened) == [("high", 7, "pilot", "by sticks")]
    assert called(happened) == [("watch-acknowledged", "Acknowledged.")]
    assert [one for one in sticks.run(30) if isinstance(one, AlertChange) and one.spoken] == []


def test_with_nothing_to_acknowledge_nothing_is_said() -> None:
    sticks = Sticks()
    sticks.run(5)
    sticks.widths[7] = HIGH
    assert sticks.run(5) == []


def test_of_several_aircraft_it_is_its_own_and_the_watchs_own() -> None:
    sticks = Sticks(None, 7, 8)
    sticks.run(5)
    for plane in sticks.planes:
        plane.height_m = 60
    sticks.run(3)
    sticks.order(Order("report", "voice", ok=False, text="Voice not working.", role="watch"))
    sticks.order(Order("sighted", aircraft=8, role="observer", by="page", text="people"))
    sticks.order(Order("sighted", aircraft=None, role="observer", by="page", text="stop"))
    sticks.run(1)
    sticks.widths[7] = HIGH
    happened = sticks.run(3)
    assert {(rule, system) for rule, system, _, _ in acknowledged(happened)} == {
        ("high", 7), ("watch-voice", None), ("sighted-stop", None),
    }  # fmt: skip
    assert called(happened) == [("watch-acknowledged", "Aircraft 7. Acknowledged.")]
    assert sticks.states["high", 8] is State.UNACKNOWLEDGED
    assert sticks.states["sighted-people", 8] is State.UNACKNOWLEDGED


def test_what_was_told_after_the_finger_moved_is_not_meant() -> None:
    sticks = Sticks()
    sticks.run(5)
    sticks.planes[0].height_m = 60
    sticks.run(3)
    sticks.widths[7] = HIGH
    sticks.run(0.25)  # the first sample of the new position
    sticks.planes[0].height_m = 100
    assert [rule for rule, *_ in acknowledged(sticks.run(3))] == ["high"]
    assert sticks.states["higher", 7] is State.UNACKNOWLEDGED
    sticks.run(2)
    sticks.widths[7] = LOW
    assert [rule for rule, *_ in acknowledged(sticks.run(3))] == ["higher"]


def test_it_is_off_until_all_parameters_are_known_and_that_is_said_once() -> None:
    sticks = Sticks()
    sticks.parameters = None
    sticks.planes[0].height_m = 60
    happened = sticks.run(48)
    sticks.widths[7] = HIGH
    happened += sticks.run(60)
    assert acknowledged(happened) == []
    told = [one for one in happened if isinstance(one, AlertChange) and one.rule == "watch-sticks"]
    assert [(one.callout, one.reason) for one in told] == [
        (
            "Advisory. Watch. Acknowledging from the sticks is off. See the log.",
            "no parameters seen; refresh them at the ground station",
        )
    ]
    assert any(
        "Acknowledging from the sticks is off: no para" in line for line in sticks.engine.describe_sources()
    )
    sticks.parameters = {"return.order": 136.0}
    happened = sticks.run(4)
    assert [one.change for one in happened if one.rule == "watch-sticks" and isinstance(one, AlertChange)] == [
        Change.CLEARED
    ]
    sticks.widths[7] = LOW
    assert [rule for rule, *_ in acknowledged(sticks.run(3))] == ["high"]
    assert any("Acknowledging from the sticks is on." in line for line in sticks.engine.describe_sources())


def test_without_a_switch_named_channels_are_nothing_to_it() -> None:
    sticks = Sticks(sortie="crew: {moving: false}")
    sticks.run(5)
    sticks.planes[0].height_m = 60
    sticks.run(60)
    sticks.widths[7] = HIGH
    happened = sticks.run(5)
    assert acknowledged(happened) == []
    assert not [one for one in happened if one.rule == "watch-sticks"]
    assert not [line for line in sticks.engine.describe_sources() if "sticks" in line]


def test_a_replay_decides_the_same(tmp_path: Path) -> None:
    sticks = Sticks(tmp_path, 7, 8)
    sticks.run(5)
    sticks.planes[0].height_m = 60
    sticks.run(3)
    for n, text in enumerate(("people", "people", "stop", "traffic", "clear", "lost_sight", "whale")):
        aircraft = (7, None)[n % 2]
        sticks.order(Order("sighted", aircraft=aircraft, role="observer", by="Ada", text=text, afar=bool(n % 3)))
        sticks.run(1.25)
    sticks.widths[7] = HIGH
    happened = sticks.run(4)
    assert {rule for rule, *_ in acknowledged(happened)} == {
        "high", "sighted-people", "sighted-stop", "sighted-traffic", "sighted-lost-sight",
    }  # fmt: skip
    sticks.run(130)
    assert sticks.recorder is not None
    sticks.now_us += 1
    sticks._take(sticks.engine.tick(sticks.now_us / 1e6))
    sticks.recorder.close(sticks.now_us, timeout_s=10)
    again = Engine(RULES, (), load_sortie_file(SORTIE, "s.yaml"))
    lines = [decision_line(h, exercise=False) for e in open_recording(tmp_path).events() for h in e.into(again)]
    assert lines == sticks.lines
    assert sum('"sighted-' in line for line in lines) > 8

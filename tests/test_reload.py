"""Other rules in flight: all or nothing, state by rule id, and a recording of it decides the same."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from tests.alerts.driver import Driver, pack, rule
from tests.recordings import alerts, lines
from tests.test_engine import T0, Plane, fly
from watchkeeper.alerts.events import AlertChange, Happening, Order
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.engine import Engine
from watchkeeper.rules.load import load_packs

WIND = (
    "id: windy\nlevel: caution\nwhen: wind.speed > {limit} m/s\nclear: wind.speed < 5 m/s\n"
    'say: "Wind. Strong. Turn back."'
)
SOON = (
    "id: soon\nlevel: caution\nwhen: average(link.lag, 20 s) > 3 s\non_delay: 6 s\noff_delay: 6 s\n"
    'say: "Link. Late. Wait."'
)


def again(drive: Driver, *rules: str) -> None:
    loaded = pack(*rules)
    drive.book.replace(loaded.rules, loaded.sterile, drive.now_us)
    drive.happenings += drive.teller.take()


def windy(limit: int, more: str = "") -> str:
    return rule(WIND.format(limit=limit) + more)


def of(drive: Driver, rule_id: str) -> list[tuple[float, str, str]]:
    return [
        (h.elapsed_us / 1e6, h.change.value, h.reason)
        for h in drive.happenings
        if isinstance(h, AlertChange) and h.rule == rule_id
    ]


def test_delays_and_windows_of_an_unchanged_rule_are_kept() -> None:
    for reload_at_s in (None, 15.0, 18.0, 24.0):
        drive = Driver(rule(SOON))
        drive.hold("link.lag", 5.0)
        if reload_at_s is not None:
            drive.run(reload_at_s)
            again(drive, windy(10), rule(SOON).replace("common practice", "another reason"))
        drive.run(30)
        drive.hold("link.lag", 0.0)
        drive.run(60)
        told = [(t, c) for t, c, _ in of(drive, "soon")]
        if reload_at_s is None:
            expected = told
            assert [c for _, c in told] == ["raised", "cleared"]
            assert 20 < told[0][0] < 24
        assert told == expected, reload_at_s


def test_an_acknowledged_and_a_shelved_alert_stay_so() -> None:
    drive = Driver(windy(10), rule(SOON))
    drive.hold("wind.speed", 12.0)
    drive.order("acknowledge", "windy")
    drive.order("shelve", "soon", minutes=5)
    again(drive, rule(SOON), windy(10), rule('id: new\nlevel: caution\nwhen: link.loss > 5 %\nsay: "A. B. C."'))
    assert [(a.rule, a.state.value) for a in drive.book.alerts()] == [("windy", "acknowledged")]
    drive.run(3)
    assert [c for _, c, _ in of(drive, "windy")] == ["raised", "acknowledged"]
    drive.run(400)
    assert of(drive, "soon")[-1][1] == "unshelved"


def test_a_removed_rule_clears_its_alert_with_that_reason() -> None:
    drive = Driver(windy(10), rule(SOON))
    drive.hold("wind.speed", 12.0)
    again(drive, rule(SOON))
    assert of(drive, "windy")[-1] == (0.0, "cleared", "rule removed")
    assert drive.book.alerts() == []


def test_a_removed_warning_does_not_stay_listed() -> None:
    drive = Driver(windy(10).replace("level: caution", "level: warning"), rule(SOON))
    drive.hold("wind.speed", 12.0)
    again(drive, rule(SOON))
    assert drive.book.alerts() == []


@pytest.mark.parametrize(
    ("change", "becomes"),
    [
        (windy(11), ["raised"]),  # still met
        (windy(20), ["raised"]),  # in the deadband: not over before 5 m/s
        (windy(20).replace("    clear: wind.speed < 5 m/s\n", ""), ["raised", "cleared"]),
        (windy(10).replace("level: caution", "level: warning"), ["raised", "cleared", "raised"]),
        (windy(10, "\ntrial: true"), ["raised", "cleared", "raised"]),
        (windy(10, "\nduring: [landing]"), ["raised", "cleared"]),
        (windy(10).replace("Strong.", "Very strong."), ["raised"]),
        (rule(SOON.replace("soon", "windy")), ["raised", "stale"]),  # cannot be judged: neither raises nor clears
    ],
)
def test_a_changed_rule_keeps_its_alert_where_level_and_conditions_hold(change: str, becomes: list[str]) -> None:
    drive = Driver(windy(10))
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    again(drive, change)
    drive.run(4)
    assert [c for _, c, _ in of(drive, "windy")] == becomes
    assert all(reason == "rule changed" for _, c, reason in of(drive, "windy") if c == "cleared")


def test_a_latched_alert_is_let_go_by_a_rule_that_does_not_latch() -> None:
    drive = Driver(windy(10, "\nlatch: true"))
    drive.hold("wind.speed", 12.0)
    drive.hold("wind.speed", 1.0)
    again(drive, windy(10, "\nlatch: true\nrepeat: 10 s"))
    assert [a.state.value for a in drive.book.alerts()] == ["latched-unacknowledged"]
    again(drive, windy(10))
    assert drive.book.alerts() == []


def test_what_a_removed_cause_suppressed_is_told_and_what_a_new_one_causes_is_not() -> None:
    cause = rule('id: cause\nlevel: warning\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')
    drive = Driver(cause, windy(10, "\ncaused_by: [cause]"))
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    again(drive, windy(10))
    assert of(drive, "windy")[-1][1] == "unsuppressed"
    assert drive.spoken[-1] == "Caution. Wind. Strong. Turn back."
    again(drive, cause, windy(10, "\ncaused_by: [cause]"))
    assert of(drive, "windy")[-1][1] == "suppressed"


def test_a_routine_call_is_not_made_for_what_was_so_already() -> None:
    drive = Driver(windy(10))
    drive.hold("link.lag", 5.0)
    again(drive, windy(10), rule('id: call\nlevel: routine\nwhen: link.lag > 3 s\nsay: "Late."'))
    drive.run(3)
    assert drive.spoken == []


def test_reloading_the_same_rules_at_any_time_changes_nothing() -> None:
    rules = (
        windy(10, "\nescalate: {after: 15 s, to: warning}\nrepeat: 10 s\ncaused_by: [soon]"),
        rule(SOON),
        rule('id: call\nlevel: routine\nwhen: link.loss > 5 %\nsay: "Lossy."'),
    )
    for seed in range(6):
        told = []
        for reloads in (False, True):
            chance = random.Random(seed)
            drive = Driver(*rules, sterile="position.height < 10 m")
            for second in range(1, 150):
                drive.hold("wind.speed", chance.choice([1.0, 6.0, 12.0, 12.0]))
                drive.hold("link.lag", chance.choice([0.0, 2.0, 9.0]))
                drive.hold("link.loss", chance.choice([0.0, 9.0]))
                drive.hold("position.height", 5.0 + 10.0 * (second // 20 % 2))
                if chance.random() < 0.05:
                    drive.order("acknowledge")
                if chance.random() < 0.3 and reloads:
                    loaded = pack(*rules, sterile="position.height < 10 m")
                    drive.book.replace(loaded.rules, loaded.sterile, drive.now_us)
                drive.run(second * 0.9)
            told.append(lines(drive.happenings))
        assert told[0] == told[1]
        assert len(told[0]) > 20


PACK = """pack: mine
about: for tests
rules:
  - id: fix-lost
    level: {level}
    when: satellites.fix == no_fix
    say: "Fix. Lost. Fly by hand."
    why: common practice
    cases:
      - {{given: {{satellites.fix: no_fix}}, expect: met}}
      - {{given: {{satellites.fix: fix_3d}}, expect: not met}}
"""


def packs(level: str = "caution") -> tuple[tuple[str, str], ...]:
    return (("mine.yaml", PACK.format(level=level)),)


def reload(level: str = "caution") -> Order:
    return Order(action="reload", packs=packs(level), role="watch")


def engine_with(level: str = "caution") -> Engine:
    return Engine(load_packs(packs(level)))


def test_refused_packs_leave_the_old_ones_and_are_told_once_with_their_place() -> None:
    engine, plane = engine_with(), Plane()
    fly(engine, [plane], 0, 5)
    happened = engine.order(reload("cautoin"), T0 + 5)
    plane.fix = 1
    happened += fly(engine, [plane], 5.25, 8)
    told = [h for h in happened if isinstance(h, AlertChange)]
    assert [(h.rule, h.change.value, h.spoken) for h in told] == [
        ("watch-rules", "raised", True),
        ("fix-lost", "raised", True),
    ]
    assert told[0].callout == "Advisory. Watch. New rules refused. The old ones stay."
    assert told[0].reason.startswith("mine.yaml:5:12: unknown word 'cautoin'")
    assert [fault.line for fault in engine.rule_faults] == [5]
    happened = engine.order(reload("warning"), T0 + 9)
    assert [(a[1], a[2], a[3]) for a in alerts(happened)] == [
        ("fix-lost", "caution", "cleared"),
        ("fix-lost", "warning", "raised"),
        ("watch-rules", "advisory", "cleared"),
    ]
    assert engine.rule_faults == ()


def test_no_packs_at_all_are_refused() -> None:
    engine = engine_with()
    happened = engine.order(Order(action="reload", role="watch"), T0)
    assert [(a[1], a[3]) for a in alerts(happened)] == [("watch-rules", "raised")]


def test_an_aircraft_that_comes_later_gets_the_new_rules() -> None:
    engine, plane = engine_with(), Plane()
    engine.order(reload("warning"), T0)
    plane.fix = 1
    assert ("fix-lost", "warning", "raised") in [a[1:] for a in alerts(fly(engine, [plane], 1, 3))]


def test_a_recording_holds_the_packs_and_decides_the_same(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, lambda *_: None, round(T0 * 1e6))
    live = engine_with()
    plane = Plane()
    happened: list[Happening] = [*live.tick(T0)]
    for quarter in range(80):
        now_s = T0 + 0.01 + quarter / 4
        plane.fix = 1 if quarter > 30 else 3
        if quarter in (20, 40, 60):
            order = reload({20: "advisory", 40: "nonsense", 60: "warning"}[quarter])
            recorder.ordered(order, round((now_s - 0.005) * 1e6))
            live.prepare(packs()) if quarter == 20 else None
            happened += live.order(order, now_s - 0.005)
        data = plane.frames(quarter / 4)
        recorder.received("udp://a", data, round(now_s * 1e6))
        happened += live.receive("udp://a", data, now_s)
    recorder.close(round((T0 + 21) * 1e6))
    happened += live.tick(T0 + 21)
    replayed: list[Happening] = []
    engine = engine_with()
    for event in open_recording(tmp_path).events():
        replayed += event.into(engine)
    assert lines(replayed) == lines(happened)
    assert [a[2] for a in alerts(replayed) if a[1] == "fix-lost"] == ["advisory", "advisory", "warning"]
    held = [json.loads(line) for line in (tmp_path / "actions.jsonl").read_text().splitlines()]
    assert [record["packs"] for record in held if record["action"] == "reload"][2] == [[*packs("warning")[0]]]

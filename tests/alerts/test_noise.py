"""An alert that chatters is held, never a warning; in a flood the voice speaks by level and sums up the rest."""

from __future__ import annotations

from tests.alerts.driver import Driver, rule, word
from watchkeeper.alerts.desk import WatchDesk
from watchkeeper.alerts.events import AlertChange, Change, Level
from watchkeeper.alerts.measures import measure
from watchkeeper.alerts.teller import Teller

WINDY = 'id: windy\nlevel: {level}\nwhen: wind.speed > high\nrepeat: 5 s\nsay: "Wind. Strong. Turn back."'


def flap(drive: Driver, begin_s: int, times: int) -> None:
    """Let the wind be strong for the first 5 of every 10 seconds."""
    for n in range(times):
        drive.run(begin_s + 10 * n)
        drive.hold("wind.speed", 12.0)
        drive.run(begin_s + 10 * n + 5)
        drive.hold("wind.speed", 1.0)


def raised(drive: Driver) -> list[float]:
    return [t for t, _, c in drive.changes if c == "raised"]


def test_from_the_third_time_in_a_minute_it_stays_until_it_was_over_for_a_minute() -> None:
    drive = Driver(rule(WINDY.format(level="caution")))
    flap(drive, 1, 12)
    drive.run(300)
    assert raised(drive) == [1, 11, 21]
    assert [(t, c) for t, _, c in drive.changes if c == "cleared"] == [
        (6, "cleared"),
        (16, "cleared"),
        (176, "cleared"),
    ]
    assert drive.book.changing() == {"windy": "Wind"}
    changes = [h for h in drive.happenings if isinstance(h, AlertChange)]
    assert measure(changes[4:], 0, 300_000_000, standing_us=1).chattering == {}


def test_while_it_only_stands_for_its_chattering_it_is_not_repeated() -> None:
    drive = Driver(rule(WINDY.format(level="caution")))
    flap(drive, 1, 3)
    drive.run(80)
    assert [t for t, _, c in drive.changes if c == "repeated" and t > 26.5] == []


def test_held_for_the_rest_of_the_flight_and_no_longer() -> None:
    drive = Driver(rule(WINDY.format(level="caution")))
    flap(drive, 1, 3)
    drive.run(100)
    flap(drive, 101, 2)
    assert raised(drive)[3:] == [101]
    drive.once("flight.phase", "landed")
    assert drive.book.changing() == {}
    drive.once("flight.phase", "airborne")
    flap(drive, 301, 2)
    assert raised(drive)[-2:] == [301, 311]


def test_a_warning_is_told_every_time() -> None:
    drive = Driver(rule(WINDY.format(level="warning")))
    flap(drive, 1, 6)
    assert raised(drive) == [1, 11, 21, 31, 41, 51]
    assert drive.book.changing() == {"windy": "Wind"}


def test_twice_a_minute_is_not_held() -> None:
    drive = Driver(rule(WINDY.format(level="caution")))
    for n in range(6):
        drive.run(1 + 31 * n)
        drive.hold("wind.speed", 12.0)
        drive.run(5 + 31 * n)
        drive.hold("wind.speed", 1.0)
    assert len(raised(drive)) == 6
    assert drive.book.changing() == {}


def test_the_watch_says_so_once() -> None:
    teller = Teller()
    teller.first_us = 0
    desk = WatchDesk(teller)
    desk.changing({(7, "windy"): "Wind"}, 0)
    desk.changing({(7, "windy"): "Wind"}, 1_000_000)
    desk.changing({(7, "windy"): "Wind", (7, "late"): "Link"}, 2_000_000)
    desk.changing({}, 3_000_000)
    told = [h for h in teller.take() if isinstance(h, AlertChange)]
    assert [(h.change, h.level, h.callout) for h in told if h.spoken] == [
        (Change.RAISED, Level.ADVISORY, "Advisory. Watch. Wind keeps changing."),
        (Change.REPEATED, Level.ADVISORY, "Advisory. Watch. Link keeps changing."),
    ]
    assert told[-1].change is Change.CLEARED


def flooded(level: str) -> Driver:
    """Return a driver in which ten alerts (of which the last is the tenth) have been told, and one more rule."""
    crowd = [rule(f'id: r{n}\nlevel: advisory\nwhen: link.lag > {n + 1} s\nsay: "Link. Late."') for n in range(10)]
    drive = Driver(*crowd, rule(WINDY.format(level=level).replace("repeat: 5 s", "repeat: 20 s")))
    drive.hold("link.lag", 20.0)
    return drive


def test_in_a_flood_advisories_wait_and_are_said_when_it_is_over() -> None:
    drive = flooded("advisory")
    assert len(drive.spoken) == 10
    drive.hold("wind.speed", 12.0)
    drive.run(30)
    assert (len(drive.spoken), drive.book.flooded) == (10, 1)
    drive.hold("link.lag", 0.0)
    while drive.now_us < 602_000_000:
        drive.run(drive.now_us / 1e6 + 1)
        drive.teller.flood.passed(drive.now_us)
    assert drive.spoken[10] == "Advisory. Wind. Strong. Turn back."
    first = next(t for t, r, c in drive.changes if r == "windy" and c == "repeated")
    assert first == 600.1  # ten at 0 s leave together; two are left


def test_in_a_flood_cautions_are_said_once_and_warnings_go_on() -> None:
    for level, times in (("caution", 1), ("warning", 3)):
        drive = flooded(level)
        drive.hold("wind.speed", 12.0)
        drive.run(45)
        assert len(drive.spoken) - 10 == times, level


def test_what_nobody_is_told_makes_no_flood() -> None:
    drive = Driver(
        *(
            rule(f'id: r{n}\nlevel: advisory\ntrial: true\nwhen: link.lag > {n + 1} s\nsay: "Link. Late."')
            for n in range(12)
        )
    )
    drive.hold("link.lag", 20.0)
    assert [word(h) for h in drive.happenings].count("raised") == 12
    assert not drive.teller.flood.flooding


def test_the_rest_is_summed_up_in_one_call() -> None:
    teller = Teller()
    teller.first_us = 0
    desk = WatchDesk(teller)
    for second, (flooding, kept) in enumerate([(False, 0), (True, 0), (True, 2), *[(True, 3)] * 70, (False, 0)]):
        desk.flood(flooding=flooding, kept=kept, standing=11, now_us=second * 1_000_000)
    told = [h for h in teller.take() if isinstance(h, AlertChange)]
    assert [(h.elapsed_us / 1e6, h.change.value, h.callout) for h in told] == [
        (1.0, "raised", "Caution. Watch. Many alerts, 11 stand. See the list."),
        (61.0, "repeated", "Caution. Watch. 3 alerts not spoken. See the list."),
        (73.0, "cleared", "Caution. Watch. 3 alerts not spoken. See the list."),
    ]
    assert not teller.flood.flooding


def test_what_came_and_went_needs_no_call_until_something_is_kept_off_the_voice() -> None:
    teller = Teller()
    teller.first_us = 0
    desk = WatchDesk(teller)
    for second, kept in enumerate([0, 0, 1]):
        desk.flood(flooding=True, kept=kept, standing=2, now_us=second * 1_000_000)
    told = [h for h in teller.take() if isinstance(h, AlertChange)]
    assert [(h.elapsed_us / 1e6, h.callout) for h in told] == [
        (2.0, "Advisory. Watch. One alert not spoken. See the list.")
    ]

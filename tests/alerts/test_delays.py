"""On-delay, off-delay, deadband, repeats: against OPC 10000-9 B.1.5 and ISA-18.2."""

from __future__ import annotations

from tests.alerts.driver import Driver, rule

WIND = rule("""
id: wind-high
level: caution
when: wind.speed > high
clear: wind.speed < high - 1 m/s
on_delay: 3 s
off_delay: 5 s
say: "Wind. Strong. Turn back."
""")


def test_on_delay_deadband_and_off_delay() -> None:
    # worked out from OPC 10000-9 B.1.5: limit 10 high, deadband 1, on 3 s, off 5 s
    drive = Driver(WIND)
    drive.hold("wind.speed", 11.0)
    drive.run(10)
    drive.hold("wind.speed", 9.5)
    drive.run(20)
    drive.hold("wind.speed", 8.9)
    drive.run(40)
    assert drive.changes == [(3.0, "wind-high", "raised"), (25.0, "wind-high", "cleared")]


def test_a_spike_shorter_than_the_on_delay_gives_no_alert() -> None:
    # OPC 10000-9 B.1.5: the condition must hold for the whole delay
    drive = Driver(WIND)
    drive.hold("wind.speed", 11.0)
    drive.run(2.9)
    drive.hold("wind.speed", 9.0)
    drive.run(20)
    assert drive.changes == []


def test_a_short_return_below_the_limit_keeps_the_alert() -> None:
    # OPC 10000-9 B.1.5: off-delay
    drive = Driver(WIND)
    drive.hold("wind.speed", 11.0)
    drive.run(10)
    drive.hold("wind.speed", 5.0)
    drive.run(14.5)
    drive.hold("wind.speed", 11.0)
    drive.run(30)
    assert [change for _, _, change in drive.changes] == ["raised"]


def test_one_odd_message_that_is_held_does_not_outlast_the_delay() -> None:
    # one held value is one sample: a delay needs two
    drive = Driver(WIND)
    drive.hold("wind.speed", 5.0)
    drive.run(5)
    drive.hold("wind.speed", None)
    drive.once("wind.speed", 30.0)
    drive.run(14)  # it stays usable for 10 s
    assert drive.changes == []


def test_without_a_delay_one_sample_raises_at_once() -> None:
    drive = Driver(rule('id: gust\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Gust. Hold."'))
    drive.run(1)
    drive.now_us += 1234
    drive.once("wind.speed", 12.0)
    assert drive.changes == [(1.001, "gust", "raised")]


REPEATED = rule("""
id: wind-high
level: warning
when: wind.speed > high
say: "Wind. {wind.speed:.0}. Land."
repeat: 10 s
""")


def test_repeats_end_with_the_pilots_acknowledgement() -> None:
    drive = Driver(REPEATED)
    drive.hold("wind.speed", 12.0)
    drive.run(25)
    assert [change for _, _, change in drive.changes] == ["raised", "repeated", "repeated"]
    drive.order("acknowledge", "wind-high", role="observer")
    drive.run(35)
    assert [change for _, _, change in drive.changes][3:] == ["acknowledged", "repeated"]
    drive.order("acknowledge", "wind-high", role="pilot")
    drive.run(90)
    assert [change for _, _, change in drive.changes][5:] == ["acknowledged"]


def test_repeats_end_with_the_condition_and_carry_fresh_values() -> None:
    drive = Driver(REPEATED)
    drive.hold("wind.speed", 12.0)
    drive.run(8)
    drive.hold("wind.speed", 14.0)
    drive.run(12)
    drive.hold("wind.speed", 3.0)
    drive.run(60)
    assert drive.spoken == ["Warning. Wind. 12. Land.", "Warning. Wind. 14. Land."]


def test_a_stale_alert_stays_is_marked_and_goes_on_repeating() -> None:
    # a repeat ends on the pilot's acknowledgement or the end of the condition, and on nothing else
    drive = Driver(REPEATED)
    drive.hold("wind.speed", 12.0)
    drive.run(5)
    drive.hold("wind.speed", None)
    drive.run(60)
    drive.hold("wind.speed", 12.0)
    drive.run(61)
    words = [change for _, _, change in drive.changes]
    assert words[0] == "raised"
    assert "repeated" in words[words.index("stale") : words.index("fresh")]
    assert drive.book.alerts()[0].stands


def test_a_blind_rule_neither_raises_nor_clears_by_itself() -> None:
    drive = Driver(WIND)
    drive.run(30)
    assert drive.changes == []
    assert drive.book.blind(drive.now_us) == {"wind-high": ("wind.speed",)}


def test_a_rule_ends_when_its_phase_does() -> None:
    flying = rule("""
id: wind-high
level: caution
when: wind.speed > high
during: [in_flight]
say: "Wind. Strong. Turn back."
""")
    drive = Driver(flying)
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.once("flight.phase", "landed")
    assert [change for _, _, change in drive.changes] == ["raised", "cleared"]
    unknown = Driver(flying, phase=None)  # an unknown phase counts as in flight
    unknown.hold("wind.speed", 12.0)
    assert [change for _, _, change in unknown.changes] == ["raised"]

"""A station that asks for all parameters: by the aircraft's own answers, and over a link that loses some."""

from __future__ import annotations

from pathlib import Path

from simulators.campaign.record import fly
from simulators.flown.asking import FIRST_S, Asking
from simulators.flown.flight import SimulatedFlight
from simulators.onboard.parameters import parameters
from tests.simulators.campaign.campaigning import drawn, flight_file
from watchkeeper.link.decode import named
from watchkeeper.link.framing import Framer
from watchkeeper.link.recording import RecordingReader

VALUE = 22
"""PARAM_VALUE, https://mavlink.io/en/messages/common.html#PARAM_VALUE."""


def asked(lost: set[int], seconds: float = 20.0) -> tuple[Asking, list[float]]:
    """Let a station ask while values of some indexes are lost the first time; return when it sent something."""
    flight = SimulatedFlight(flight_file().setup(), 1)
    asking, sent_s, orders = Asking(143), list[float](), list[bytes]()
    waiting, framer = set(lost), Framer()
    while flight.time_s < seconds:
        frames = flight.fly()
        for order in orders:
            frames += flight.receive(order)
        heard = []
        for frame in frames:
            at = next((named(VALUE, one[4])["param_index"] for one in framer.feed(frame) if one[3] == VALUE), None)
            if at in waiting:
                waiting.discard(at)
            else:
                heard.append(frame)
        orders = asking.look(flight.time_s, heard)
        sent_s += [flight.time_s] * len(orders)
    return asking, sent_s


def test_it_asks_once_where_nothing_is_lost() -> None:
    asking, sent_s = asked(set())
    assert asking.missing == set()
    assert len(sent_s) == 2  # for the list, and for how it is coded
    assert abs(sent_s[0] - FIRST_S) < 0.03


def test_it_asks_again_for_what_was_lost() -> None:
    asking, sent_s = asked({0, 3, 49})
    assert asking.missing == set()
    assert len(sent_s) == 5


def test_it_gives_up_where_nobody_answers() -> None:
    asking, sent = Asking(143), 0
    for second in range(200):
        sent += len(asking.look(float(second), []))
    assert 40 <= sent <= 80
    assert asking.missing is None


def test_a_recording_has_all_settings_within_the_first_seconds_only_if_it_was_drawn_so(tmp_path: Path) -> None:
    settings = {"return.height_m": 61.5, "return.hold_s": 33.0}
    for told in (True, False):
        one = drawn(parameters={**flight_file().parameters, **settings})
        one = type(one)(one.number, one.seed, one.file, one.fault, one.values, settings_told=told)
        log = tmp_path / f"{told}.tlog"
        fly(one, log, 20.0)
        found: dict[str, float] = {}
        framer, records = Framer(), RecordingReader().feed(log.read_bytes())
        for time_us, raw in records:
            for frame in framer.feed(raw):
                if frame[3] == VALUE:
                    value = named(VALUE, frame[4])
                    found[value["param_id"]] = value["param_value"]
                    assert time_us - records[0][0] < 12_000_000
        assert set(found) == (set(parameters()) if told else set())
        if told:
            assert (found["return.height_m"], found["return.hold_s"]) == (61.5, 33.0)

"""How often each message comes, and that the same seed gives the same bytes; signed and unsigned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from simulators.flown.flight import SimulatedFlight
from simulators.flown.setup import Setup
from simulators.flown.telemetry import RATES_HZ
from simulators.wire.schedule import MOST_HZ
from tests.simulators.flown.telling import flying, listen, standing
from tests.simulators.onboard.flying import setup
from tests.simulators.wire.plain_client import PlainClient

KEY = bytes(range(32))
START = 34_715_520_000_000 + (123 * 86_400 + 9 * 3600) * 100_000
"""2026-05-04T09:00Z as signatures count: 2026-01-01 (facts.md 9) and 123 days and 9 hours."""


def counts(flight: SimulatedFlight, seconds: float = 60.0) -> Counter[str]:
    return Counter(one.get_type() for one in listen(flight, seconds))


def expected(name: str, factor: float = 1.0, packs: int = 2) -> float:
    return RATES_HZ[name] * factor * 60.0 * (packs if name == "BATTERY_STATUS" else 1)


def test_rates_are_as_the_schedule_says() -> None:
    found = counts(flying())
    for name in RATES_HZ:
        more = 2 if name == "BATTERY_STATUS" else 1
        assert found.pop(name, 0) == pytest.approx(expected(name), abs=more), name
    assert not found  # nothing else


def test_the_usual_rates_are_those_of_the_standard() -> None:
    # facts.md 9: HEARTBEAT 1 Hz, MISSION_CURRENT 1 Hz, CURRENT_MODE 0.5 Hz, BATTERY_STATUS at least 0.5 Hz
    assert (RATES_HZ["HEARTBEAT"], RATES_HZ["MISSION_CURRENT"], RATES_HZ["CURRENT_MODE"]) == (1.0, 1.0, 0.5)
    assert RATES_HZ["BATTERY_STATUS"] >= 0.5


def test_a_slow_radio_keeps_the_heartbeat() -> None:
    found = counts(flying(replace(setup(errors=None), rate_scale=0.2)))
    assert found["HEARTBEAT"] == pytest.approx(60, abs=1)
    for name in RATES_HZ:
        if name != "HEARTBEAT":
            assert found[name] == pytest.approx(expected(name, 0.2), abs=2 if name == "BATTERY_STATUS" else 1), (
                name
            )


def test_heartbeats_are_evenly_a_second_apart() -> None:
    flight = standing(replace(setup(), rate_scale=0.2))
    beats = (flight.time_s for _ in range(3000) if any(frame[7:10] == b"\0\0\0" for frame in flight.fly()))
    times = list(beats)  # of message id 0
    gaps = [b - a for a, b in pairwise(times)]
    assert all(0.97 < gap < 1.03 for gap in gaps)


def test_rates_of_a_setup() -> None:
    made = replace(setup(), rates_hz={"ATTITUDE": 25.0, "BATTERY_STATUS": 0.5, "VFR_HUD": 0.0, "WIND_COV": 2.0})
    found = counts(standing(made))
    assert found["ATTITUDE"] == pytest.approx(1500, abs=1)
    assert found["BATTERY_STATUS"] == pytest.approx(60, abs=2)
    assert found["VFR_HUD"] == 0
    assert found["WIND_COV"] == pytest.approx(120, abs=1)


@pytest.mark.parametrize(("name", "hz"), [("ATTITUDE", MOST_HZ + 1), ("ATTITUDE", -1.0)])
def test_rates_that_cannot_be(name: str, hz: float) -> None:
    with pytest.raises(ValueError, match=name):
        SimulatedFlight(replace(setup(), rates_hz={name: hz}))


def test_no_sequence_number_is_left_out() -> None:
    numbers = [one.get_seq() for one in listen(flying(), 30.0)]
    assert all((b - a) % 256 == 1 for a, b in pairwise(numbers))


def test_clocks_only_go_forward_at_the_pace_of_the_flight() -> None:
    times = [one.time_boot_ms for one in listen(flying(), 20.0) if one.get_type() == "ATTITUDE"]
    assert all(80 <= b - a <= 120 for a, b in pairwise(times))


# --- seeds -----------------------------------------------------------------------------------------------------


def windy() -> Setup:
    return setup(errors=None, wind_m_s=5.0, from_deg=240.0, gusts_m_s=5.0)


def bytes_of(seed: int, *, receives: bool = False) -> bytes:
    flight = SimulatedFlight(windy(), seed)
    data = bytearray()
    client = PlainClient()
    for step in range(2000):
        if step == 50:
            flight.pilot.arm()
            flight.pilot.take_off(15.0)
        if receives and step == 500:
            for frame in flight.receive(client.encode("param_request_list", 143, 1)):
                data += frame
        for frame in flight.fly():
            data += frame
    return bytes(data)


def test_one_seed_gives_the_same_bytes_and_another_others() -> None:
    first = bytes_of(7)
    assert len(first) > 30_000
    assert bytes_of(7) == first
    assert bytes_of(8) != first


def test_what_a_client_asks_for_does_not_change_the_flight() -> None:
    quiet, asked = SimulatedFlight(windy(), 7), SimulatedFlight(windy(), 7)
    client = PlainClient()
    for flight in (quiet, asked):
        flight.pilot.arm()
        flight.pilot.take_off(15.0)
    for step in range(1500):
        quiet.fly()
        asked.fly()
        if step % 5 == 0:
            asked.receive(client.encode("command_long", 143, 1, 512, 0, 147, 0, 0, 0, 0, 0, 0))
    assert (quiet.craft.north_m, quiet.craft.height_m) == (asked.craft.north_m, asked.craft.height_m)
    assert quiet.pilot.gauges.voltage_v == asked.pilot.gauges.voltage_v


# --- signing ---------------------------------------------------------------------------------------------------


def signer(key: bytes = KEY) -> PlainClient:
    client = PlainClient()
    client.mav.signing.secret_key = key
    client.mav.signing.link_id = 3
    client.mav.signing.timestamp = START
    client.mav.signing.sign_outgoing = True
    return client


def test_with_a_key_every_frame_is_signed_and_checks_out() -> None:
    flight = SimulatedFlight(replace(setup(), signing_key=KEY))
    client = signer()
    messages: list[Any] = []
    for _ in range(250):
        for frame in flight.fly():
            messages += client.read(frame)  # pymavlink raises for a signature that is not good
    assert len(messages) > 100
    assert all(one.get_signed() for one in messages)


def test_signatures_begin_at_the_clock_of_the_flight() -> None:
    flight = SimulatedFlight(replace(setup(), signing_key=KEY))
    frames: list[bytes] = []
    while not frames:
        frames = flight.fly()
    stamp = int.from_bytes(frames[0][-12:-6], "little")
    assert 0 <= stamp - START < 1000


def test_another_key_does_not_check_out() -> None:
    flight = SimulatedFlight(replace(setup(), signing_key=KEY))
    frames: list[bytes] = []
    while not frames:
        frames = flight.fly()
    with pytest.raises(dialect.MAVError, match="ignature"):
        signer(bytes(32)).read(frames[0])


def test_without_a_key_no_frame_is_signed_and_anybody_is_obeyed() -> None:
    flight = standing()
    assert not any(one.get_signed() for one in listen(flight, 2.0))
    flight.receive(PlainClient().encode("command_long", 143, 1, 400, 0, 1, 0, 0, 0, 0, 0, 0))
    assert flight.pilot.armed


def stranger() -> PlainClient:
    return signer(bytes(32))


@pytest.mark.parametrize(("who", "armed"), [(signer, True), (stranger, False), (PlainClient, False)])
def test_with_a_key_only_who_has_it_is_obeyed(who: Callable[[], PlainClient], armed: bool) -> None:
    flight = SimulatedFlight(replace(setup(), signing_key=KEY))
    for _ in range(50):
        flight.fly()
    client = who()
    client.mav.signing.timestamp = START + 10_000_000
    flight.receive(client.encode("command_long", 143, 1, 400, 0, 1, 0, 0, 0, 0, 0, 0))
    assert flight.pilot.armed is armed

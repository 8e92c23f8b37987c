"""Whatever comes from outside: nothing raises, nothing moves that should not, and every message still packs."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pymavlink import mavutil

from simulators.flown.flight import SimulatedFlight
from simulators.flown.orders import Orders
from simulators.flown.telemetry import RATES_HZ
from simulators.onboard.command import Sticks
from simulators.onboard.modes import Landed, Mode
from tests.simulators.flown.pumped import AUTOPILOT, SYSTEM, Station, fly
from tests.simulators.flown.telling import flying, standing, told
from tests.simulators.onboard.flying import FIELD, setup
from tests.simulators.wire.plain_client import PlainClient

M = mavutil.mavlink
COMMANDS = sorted(Orders(standing().pilot, 320.0).commands)
NAN, INF = math.nan, math.inf
ODD = [NAN, INF, -INF, 0.0, 1.0, -1.0, 0.5, 1e9, -1e9, 3.4e38, 1e-30, 21196.0, 89.9, 181.0, 65536.0]
ODD_PLACES = [0, 1, -1, 2**31 - 1, -(2**31), 12_500_000, -315_000_000, 900_000_001, 1_800_000_001]


def everything_packs(flight: SimulatedFlight) -> None:
    for name in RATES_HZ:
        told(flight, name)


def where(flight: SimulatedFlight) -> tuple[Any, ...]:
    craft, pilot = flight.craft, flight.pilot
    return craft.north_m, craft.east_m, craft.height_m, pilot.armed, pilot.mode, pilot.landed, pilot.target


# --- not-a-number ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_nothing_but_not_a_number_starts_nothing(command: int) -> None:
    flight, client = standing(), PlainClient()
    before = where(flight)
    for how in ("long", "int"):
        if how == "long":
            data = client.encode("command_long", SYSTEM, 1, command, 0, *[NAN] * 7)
        else:
            data = client.encode("command_int", SYSTEM, 1, 6, command, 0, 0, *[NAN] * 4, 2**31 - 1, 2**31 - 1, NAN)
        [ack] = client.read(flight.receive(data))
        assert (ack.get_type(), ack.command) == ("COMMAND_ACK", command)
        assert ack.result != M.MAV_RESULT_ACCEPTED
        for _ in range(50):
            flight.fly()
        assert where(flight) == before


@pytest.mark.parametrize("command", sorted(set(COMMANDS) - {20, 21, 192}))
def test_nor_does_it_move_an_aircraft_that_flies(command: int) -> None:
    # a return, a landing and a flight to a place need no parameters; not-a-number there means "as it is"
    flight, client = flying(setup()), PlainClient()
    before = where(flight)
    [ack] = client.read(flight.receive(client.encode("command_long", SYSTEM, 1, command, 0, *[NAN] * 7)))
    assert ack.result != M.MAV_RESULT_ACCEPTED
    assert where(flight) == before


def test_a_flight_to_nowhere_in_particular_holds() -> None:
    flight, client = flying(setup()), PlainClient()
    target = flight.pilot.target
    [ack] = client.read(flight.receive(client.encode("command_long", SYSTEM, 1, 192, 0, *[NAN] * 7)))
    assert ack.result == M.MAV_RESULT_ACCEPTED
    assert flight.pilot.target == pytest.approx(target, abs=0.1)


@pytest.mark.parametrize("value", [NAN, INF, -INF, 1e30, -5.0])
def test_parameters_take_no_nonsense(value: float) -> None:
    flight, client = standing(), PlainClient()
    before = dict(flight.pilot.values)
    for name in flight.parameters:
        if name == "return.hold_s":  # may be negative
            continue
        [answer] = client.read(flight.receive(client.encode("param_set", SYSTEM, 1, name.encode(), value, 9)))
        assert answer.param_value == pytest.approx(before[name])
    assert flight.pilot.values == before


@pytest.mark.parametrize(
    ("command", "frame", "p7"),
    [
        (179, 0, 1e9),
        (179, 0, -1e9),
        (179, 3, 9000.0),
        (192, 6, 1e8),
        (192, 6, -3000.0),
        (192, 5, 3.4e38),
        (22, 3, 1e5),
    ],
)
def test_heights_out_of_reach_are_refused(command: int, frame: int, p7: float) -> None:
    flight, client = flying(), PlainClient()
    home = flight.pilot.home
    if command == 22:
        flight = standing()
        flight.pilot.arm()
    x, y = (round(one * 1e7) for one in FIELD.degrees(10.0, 10.0))
    data = client.encode("command_int", SYSTEM, 1, frame, command, 0, 0, 0, 0, 0, 0, x, y, p7)
    [ack] = client.read(flight.receive(data))
    assert ack.result == M.MAV_RESULT_DENIED
    assert command == 22 or flight.pilot.home == home
    everything_packs(flight)


@pytest.mark.parametrize("command", [179, 192, 21])
def test_places_out_of_reach_are_refused(command: int) -> None:
    flight, client = flying(), PlainClient()
    before = (flight.pilot.home, flight.pilot.target, flight.pilot.mode)
    for x, y in ((800_000_000, 0), (12_500_000, 100_000_000), (-900_000_000, 1_800_000_000)):
        data = client.encode("command_int", SYSTEM, 1, 0, command, 0, 0, 0, 0, 0, 0, x, y, 330.0)
        [ack] = client.read(flight.receive(data))
        assert ack.result == M.MAV_RESULT_DENIED
    assert (flight.pilot.home, flight.pilot.target, flight.pilot.mode) == before


@pytest.mark.parametrize(("p1", "p2"), [(2, 5.0), (NAN, 5.0), (1, NAN), (1, 0.0), (1, 25.0), (1, -1.0)])
def test_speeds_that_cannot_be_are_refused(p1: float, p2: float) -> None:
    flight, client = flying(), PlainClient()
    data = client.encode("command_long", SYSTEM, 1, 178, 0, p1, p2, 0, 0, 0, 0, 0)
    [ack] = client.read(flight.receive(data))
    assert ack.result == M.MAV_RESULT_DENIED
    assert flight.pilot.target_speed_m_s is None


@pytest.mark.parametrize("axes", [(2000, 0, 500, 0), (0, -1001, 500, 0), (0, 0, 1001, 0), (0, 0, 500, 32766)])
def test_sticks_beyond_their_ends_are_not_taken(axes: tuple[int, int, int, int]) -> None:
    flight, client = flying(), PlainClient()
    flight.receive(client.encode("manual_control", SYSTEM, *axes, 0))
    assert flight.pilot.sticks is None


def test_sticks_are_taken_as_the_standard_has_them() -> None:
    # MANUAL_CONTROL (common.xml): x forward, y right, z up from 0 to 1000, r turn; 32767 is an axis not there
    flight, client = flying(), PlainClient()
    flight.receive(client.encode("manual_control", SYSTEM, 500, -250, 750, 100, 0))
    assert flight.pilot.sticks == Sticks(0.5, -0.25, 0.5, 0.1, flight.time_s)
    flight.receive(client.encode("manual_control", SYSTEM, 32767, 32767, 32767, 32767, 0))
    assert flight.pilot.sticks == Sticks(0.0, 0.0, 0.0, 0.0, flight.time_s)
    flight.receive(client.encode("manual_control", SYSTEM, 0, 0, -1000, 0, 0))
    assert flight.pilot.sticks.up == -1.0


# --- for others, and unsigned ----------------------------------------------------------------------------------


@pytest.mark.parametrize("whom", [(142, 1), (SYSTEM, 2), (1, 1)])
def test_orders_for_others_are_not_obeyed(whom: tuple[int, int]) -> None:
    flight, client = standing(), PlainClient()
    before = where(flight)
    for data in (
        client.encode("command_long", *whom, 400, 0, 1, 0, 0, 0, 0, 0, 0),
        client.encode("command_int", *whom, 6, 400, 0, 0, 1, 0, 0, 0, 0, 0, 0),
        client.encode("param_set", *whom, b"return.height_m", 99.0, 9),
        client.encode("mission_count", *whom, 1, 0),
        client.encode("mission_clear_all", *whom, 0),
    ):
        assert flight.receive(data) == []
    if whom[0] != SYSTEM:  # these name no component
        flight.receive(client.encode("set_mode", whom[0], 1, int(Mode.LAND)))
        flight.receive(client.encode("manual_control", whom[0], 500, 0, 500, 0, 0))
    assert (flight.pilot.sticks, where(flight)) == (None, before)
    assert flight.parameters["return.height_m"] == 40.0


# --- anything at all -------------------------------------------------------------------------------------------

NUMBERS = st.one_of(st.sampled_from(ODD), st.floats(width=32))
PLACES = st.one_of(st.sampled_from(ODD_PLACES), st.integers(-(2**31), 2**31 - 1))
FRAMES = st.sampled_from([0, 1, 2, 3, 5, 6, 10, 11, 20, 255])
LONG = st.tuples(
    st.just("command_long"), st.sampled_from([*COMMANDS, 31, 510, 511, 512]), st.tuples(*[NUMBERS] * 7)
)
INT = st.tuples(
    st.just("command_int"), st.sampled_from(COMMANDS), FRAMES, st.tuples(*[NUMBERS] * 4), PLACES, PLACES, NUMBERS
)
SET = st.tuples(st.just("param_set"), st.sampled_from(sorted(standing().parameters)), NUMBERS)
ITEM = st.tuples(
    st.just("item"), st.sampled_from([16, 19, 20, 21, 22, 112, 178, 211]), FRAMES, st.tuples(*[NUMBERS] * 4),
    PLACES, PLACES, NUMBERS,
)  # fmt: skip
STICKS = st.tuples(st.just("sticks"), st.tuples(*[st.integers(-(2**15), 2**15 - 1)] * 4))
MODES = st.tuples(st.just("mode"), st.integers(0, 255), st.integers(0, 2**32 - 1))


def encoded(client: PlainClient, order: tuple[Any, ...]) -> list[bytes]:
    kind, *rest = order
    if kind == "command_long":
        command, params = rest
        return [client.encode("command_long", SYSTEM, 1, command, 0, *params)]
    if kind == "command_int":
        command, frame, params, x, y, z = rest
        return [client.encode("command_int", SYSTEM, 1, frame, command, 0, 0, *params, x, y, z)]
    if kind == "param_set":
        return [client.encode("param_set", SYSTEM, 1, rest[0].encode(), rest[1], 9)]
    if kind == "sticks":
        return [client.encode("manual_control", SYSTEM, *rest[0], 0)]
    if kind == "mode":
        return [client.encode("set_mode", SYSTEM, rest[0], rest[1])]
    command, frame, params, x, y, z = rest
    return [
        client.encode("mission_count", SYSTEM, 1, 1, 0),
        client.encode("mission_item_int", SYSTEM, 1, 0, frame, command, 0, 1, *params, x, y, z, 0),
        client.encode("command_long", SYSTEM, 1, 300, 0, *[0.0] * 7),
    ]


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.one_of(LONG, INT, SET, ITEM, STICKS, MODES), min_size=1, max_size=10), st.booleans())
def test_no_orders_whatever_raise_or_spoil_a_message(orders: list[tuple[Any, ...]], in_air: bool) -> None:
    flight, client = standing(setup()), PlainClient()
    if in_air:
        flight.pilot.arm()
        flight.pilot.take_off(8.0)
        for _ in range(150):
            flight.fly()
    for order in orders:
        for data in encoded(client, order):
            client.read(flight.receive(data))
        for _ in range(15):
            client.read(b"".join(flight.fly()))
    everything_packs(flight)
    assert all(math.isfinite(one) for one in (flight.craft.north_m, flight.craft.height_m, flight.bank.voltage_v))


@settings(deadline=None, max_examples=80)
@given(st.binary(max_size=400))
def test_no_bytes_whatever_raise_or_move_it(data: bytes) -> None:
    flight = standing(setup())
    before = where(flight)
    flight.receive(data)
    for _ in range(5):
        flight.fly()
    assert where(flight) == before


@pytest.mark.parametrize("scheme", ["udp", "tcp"])
async def test_over_a_real_socket_rubbish_does_no_harm(scheme: str) -> None:
    flight = SimulatedFlight(setup(errors=None), 2)
    dice = random.Random(11)

    def client(station: Station) -> None:
        station.wait("HEARTBEAT")
        for _ in range(60):
            rubbish = dice.randbytes(dice.randrange(1, 300))
            station.link.write(rubbish if dice.random() < 0.5 else b"\xfd" + rubbish)
            station.link.mav.command_long_send(
                SYSTEM - 1, AUTOPILOT, M.MAV_CMD_COMPONENT_ARM_DISARM, 0, 1, *[0] * 6
            )
            station.link.mav.command_long_send(SYSTEM, AUTOPILOT, M.MAV_CMD_COMPONENT_ARM_DISARM, 0, *[NAN] * 7)
            station.pump()
        assert flight.pilot.landed is Landed.GROUND
        assert not flight.pilot.armed
        station.link.write(bytes(300))  # ends any frame that the rubbish began
        station.pump()
        while station.link.recv_match() is not None:  # acknowledgements of what was denied
            pass
        assert station.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 1) == M.MAV_RESULT_ACCEPTED

    await fly(scheme, flight, client)
    assert flight.pilot.armed

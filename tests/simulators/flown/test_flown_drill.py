"""Flown scenarios as drills: repeated by seed, left to a trainee, valid on the wire, and watched by the engine."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pymavlink import mavutil

from simulators.flown.scenario import FlownDrill, FlownScenario, fly_again
from simulators.onboard.modes import Landed, Mode
from simulators.radio.report import SYSTEM as RADIO
from simulators.scenario import find, load
from tests.simulators.flown.drilling import UP, drill, fly, hovering, scenario, until
from tests.simulators.wire.plain_client import PlainClient
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.alerts.events import AlertChange
from watchkeeper.engine import Engine
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import load_packs

M = mavutil.mavlink
AIRCRAFT, STATION = 143, 255
AWAY = {"when": {"height_over_m": 19}, "do": {"go": {"north_m": 80, "east_m": 0, "height_m": 30}}}
BLOW = {"fault": "it blows", "when": {"at_s": 20}, "do": {"gusts_m_s": 8}}
PLAN = [{"at": [1.2505, -31.5], "height_m": 20, "stay_s": 5}, {"at": [1.2505, -31.4996], "height_m": 30}]


def practice() -> FlownScenario:
    found = load(find("open-practice"))
    assert isinstance(found, FlownScenario)
    return found


def command(number: int, *params: float, to: int = AIRCRAFT) -> bytes:
    return PlainClient().encode("command_long", to, 1, number, 0, *params, *(0.0,) * (7 - len(params)))


def heartbeat() -> bytes:
    return PlainClient().encode("heartbeat", M.MAV_TYPE_GCS, M.MAV_AUTOPILOT_INVALID, 0, 0, 4)


# --- repeated by seed ----------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_bytes_at_the_same_times() -> None:
    drills = [FlownDrill(practice(), seed) for seed in (7, 7, 8)]
    flown = [[(sent.time_s, sent.link, sent.data) for sent in until_s(one, 90.0)] for one in drills]
    assert len(flown[0]) > 3000
    assert flown[0] == flown[1]
    assert flown[0] != flown[2]
    assert {event.name for event in drills[0].happened} == {"crew 1", "crew 2", "crew 3"}


def until_s(one: FlownDrill, end_s: float) -> list[Any]:
    sent = []
    for frame in one.frames():
        if frame.time_s > end_s:
            break
        sent.append(frame)
    return sent


def test_orders_of_a_client_repeat_as_well() -> None:
    def flown() -> tuple[list[tuple[int, bytes]], list[str | None]]:
        one = FlownDrill(practice(), 3, served=True)
        heard: list[tuple[int, bytes]] = []
        what: list[str | None] = []
        orders = [heartbeat(), command(400, 1.0), command(22, *[0.0] * 6, 20.0), command(20)]
        for second, order in enumerate(orders):
            what.append(one.order(order))
            heard += fly(one, 1.0 + second)
        return heard, what

    first, second = flown(), flown()
    assert first == second
    assert first[1] == [None, "arm or disarm", "take-off", "return"]


def test_a_drill_flown_again_ends_the_same_if_it_is_not_turned_back() -> None:
    one = FlownDrill(scenario(crew=[*UP, AWAY], duration_s=60, faults=[BLOW]), 5)
    while not one.over:
        one.step()
    assert fly_again(one, math.inf) == one.ending
    assert one.ending.home_m == pytest.approx(80.0, abs=4.0)
    again = fly_again(one, 20.0)
    assert again.home_m < 10.0 < one.ending.home_m


# --- trainee and crew ----------------------------------------------------------------------------------------


def test_a_trainee_who_may_fly_finds_no_deeds_of_the_crew_but_the_faults() -> None:
    served = FlownDrill(scenario(crew=UP, trainee_flies=True, faults=[BLOW]), served=True)
    fly(served, 30.0)
    assert [event.name for event in served.happened] == ["it blows"]
    assert not served.flight.pilot.armed
    for one in (
        FlownDrill(scenario(crew=UP, trainee_flies=True), served=False),  # nobody is there to fly
        FlownDrill(scenario(crew=UP), served=True),  # it is flown for him until he takes over
    ):
        fly(one, 30.0)
        assert [event.name for event in one.happened] == ["crew 1", "crew 2"]
        assert one.flight.pilot.landed is Landed.AIR


def test_the_crew_goes_on_while_a_client_only_listens_and_asks() -> None:
    one = FlownDrill(scenario(crew=[*UP, AWAY]), served=True)
    client = PlainClient()
    for frame in (
        heartbeat(),
        client.encode("param_request_list", AIRCRAFT, 1),
        client.encode("mission_request_list", AIRCRAFT, 1),
        command(M.MAV_CMD_REQUEST_MESSAGE, 148.0),
        command(M.MAV_CMD_SET_MESSAGE_INTERVAL, 30.0, 1e5),
        b"rubbish",
        command(M.MAV_CMD_NAV_LAND)[:-1],
    ):
        assert one.order(frame) is None
    fly(one, 60.0)
    assert one.flight.craft.north_m == pytest.approx(80.0, abs=4.0)


@pytest.mark.parametrize(
    ("frame", "what"),
    [
        (command(M.MAV_CMD_NAV_RETURN_TO_LAUNCH), "return"),
        (heartbeat() + command(M.MAV_CMD_NAV_LAND), "land"),  # a client sends several at once
        (PlainClient().encode("set_mode", AIRCRAFT, 1, 7), "mode"),
        (PlainClient().encode("manual_control", AIRCRAFT, 0, 0, 500, 0, 0), "sticks"),
        (PlainClient().encode("mission_clear_all", AIRCRAFT, 1), "plan cleared"),
        (command(31010), "command 31010"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_the_first_order_ends_the_crews_deeds(frame: bytes, what: str) -> None:
    one = FlownDrill(scenario(crew=[*UP, AWAY], faults=[BLOW]), served=True)
    fly(one, 8.0)
    assert one.order(frame) == what
    fly(one, 52.0)
    assert [event.name for event in one.happened] == ["crew 1", "crew 2", "it blows"]
    assert abs(one.flight.craft.north_m) < 5.0


def test_the_pilots_keys_end_them_too_and_need_the_control_link() -> None:
    one = drill(crew=[*UP, AWAY])
    assert not one.key(Mode.LAND)  # stands on the ground, motors off
    one = hovering()
    one.around.control_cut = True
    fly(one, 0.2)
    assert not one.key(Mode.LAND)
    one.around.control_cut = False
    fly(one, 0.2)
    assert one.key(Mode.LAND)
    until(one, lambda: not one.flight.pilot.armed, 60.0)


# --- what the file gives -------------------------------------------------------------------------------------


def test_the_plan_in_the_aircraft_is_that_of_the_file() -> None:
    one = FlownDrill(scenario(plan=PLAN, return_after_plan=True), served=True)
    client, frames = PlainClient(), [PlainClient().encode("mission_request_list", AIRCRAFT, 1)]
    frames += [PlainClient().encode("mission_request_int", AIRCRAFT, 1, i) for i in range(4)]
    told: list[Any] = []
    for frame in frames:
        one.order(frame)
        told += client.read([heard for _, heard in fly(one, 0.1)])
    [count] = [message.count for message in told if message.get_type() == "MISSION_COUNT"]
    items = [message for message in told if message.get_type() == "MISSION_ITEM_INT"]
    assert count == len(items) == 4
    assert [(item.seq, item.command, item.x, item.y, item.z, item.param1) for item in items] == [
        (0, M.MAV_CMD_NAV_TAKEOFF, 0, 0, 20.0, 0.0),
        (1, M.MAV_CMD_NAV_WAYPOINT, 12_505_000, -315_000_000, 20.0, 5.0),
        (2, M.MAV_CMD_NAV_WAYPOINT, 12_505_000, -314_996_000, 30.0, 0.0),
        (3, M.MAV_CMD_NAV_RETURN_TO_LAUNCH, 0, 0, 0.0, 0.0),
    ]


def test_rates_parameters_and_the_wrong_gauge_are_those_of_the_file() -> None:
    packs = [{"charge_pct": 60, "gauge_pct": 95}, {"charge_pct": 60, "gauge_pct": 60}]
    keys: dict[str, Any] = {"parameters": {"return.height_m": 55.5}, "rates_hz": {"ATTITUDE": 2, "VFR_HUD": 0}}
    one = drill(packs=packs, **keys)
    one.order(PlainClient().encode("param_request_read", AIRCRAFT, 1, b"return.height_m", -1))
    heard = PlainClient().read([frame for _, frame in fly(one, 10.0)])
    kinds = [message.get_type() for message in heard]
    assert kinds.count("ATTITUDE") == pytest.approx(20, abs=1)
    assert kinds.count("VFR_HUD") == 0
    assert [m.param_value for m in heard if m.get_type() == "PARAM_VALUE"] == [55.5]
    gauges = {m.id: m.battery_remaining for m in heard if m.get_type() == "BATTERY_STATUS"}
    assert gauges == {0: 95, 1: 60}


def test_it_starts_when_and_where_the_file_says() -> None:
    one = drill(start="2031-02-03T04:05:06Z", home=[-12.5, 170.25], altitude_m=1500, heading_deg=200)
    heard = PlainClient().read([frame for _, frame in fly(one, 4.0)])
    [*_, clock] = [message for message in heard if message.get_type() == "SYSTEM_TIME"]
    [*_, fix] = [message for message in heard if message.get_type() == "GPS_RAW_INT"]
    [*_, position] = [message for message in heard if message.get_type() == "GLOBAL_POSITION_INT"]
    assert clock.time_unix_usec / 1e6 == pytest.approx(1_927_857_906 + 3.5, abs=1.0)  # date -u -d 2031-02-03...
    assert (fix.lat / 1e7, fix.lon / 1e7) == pytest.approx((-12.5, 170.25), abs=5e-5)
    assert fix.alt / 1e3 == pytest.approx(1500.0, abs=8.0)
    assert position.hdg / 100 == pytest.approx(200.0, abs=8.0)


def test_with_two_links_each_is_a_source_and_without_any_all_is_heard() -> None:
    one = drill(links=[{"kind": "radio"}, {"kind": "network", "loss_pct": 0}])
    heard: dict[int, list[bytes]] = {}
    for link, frame in fly(one, 20.0):
        heard.setdefault(link, []).append(frame)
    assert sorted(heard) == [0, 1]
    by_link = {link: PlainClient().read(frames) for link, frames in heard.items()}
    assert {m.get_srcSystem() for m in by_link[0]} == {AIRCRAFT, STATION, RADIO}
    assert {m.get_srcSystem() for m in by_link[1]} == {AIRCRAFT}
    assert sum(m.get_type() == "RADIO_STATUS" for m in by_link[0]) == pytest.approx(20, abs=1)
    assert {link for link, _ in fly(drill(), 3.0)} == {0}


# --- on the wire and watched ---------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_practice_flies_out_and_home_and_the_watch_raises_nothing_but_that_it_is_blind(seed: int) -> None:
    practised = practice()
    assert practised.aircraft is not None
    aircraft = load_aircraft_file(practised.aircraft.read_text("utf-8"), practised.aircraft.name)
    packs = [(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    engine = Engine(load_packs(packs, None), [aircraft], None)
    one = FlownDrill(practised, seed)
    pilot, craft = one.flight.pilot, one.flight.craft
    client = PlainClient()
    start_s, farthest_m, last_s = practised.start.timestamp(), 0.0, 0.0
    happened = engine.tick(start_s)
    for sent in one.frames():
        assert sent.time_s >= last_s
        last_s = sent.time_s
        [message] = client.read([sent.data])  # pymavlink raises for what is no whole good frame
        assert message.get_type() != "BAD_DATA"
        assert message.get_srcSystem() == sent.system
        assert sent.system in {AIRCRAFT, STATION, RADIO}
        happened += engine.receive(f"drill {sent.link}", sent.data, start_s + sent.time_s)
        farthest_m = max(farthest_m, math.hypot(craft.north_m, craft.east_m))
        if sent.time_s > 120.0 and not pilot.armed:
            break
    happened += engine.tick(start_s + last_s)
    assert farthest_m == pytest.approx(math.hypot(250, 120), abs=5.0)
    assert one.ending.landed
    assert not one.ending.crashed
    assert one.ending.home_m < 3.0  # satellites are off by 1 m
    assert one.ending.charge_pct > 80.0
    assert 150.0 < last_s < 300.0
    rules = {one.rule for one in happened if isinstance(one, AlertChange)}
    assert rules <= {"watch-blind"}
    assert engine.systems() == [AIRCRAFT]
    assert engine.readings(AIRCRAFT)["position.height"] == pytest.approx(0.0, abs=5.0)  # and it did listen


def test_what_clients_send_without_end_is_not_kept_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simulators.flown.scenario.MOST_ORDERS", 10)
    one = FlownDrill(scenario(), served=True)
    for _ in range(25):
        one.order(heartbeat())
        one.step()
    assert len(one.orders) == 10
    assert one.order(command(400, 1.0)) is None
    fly(one, 1.0)
    assert not one.flight.pilot.armed  # what could not be flown again is not flown

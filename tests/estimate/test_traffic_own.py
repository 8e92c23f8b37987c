"""The crew's own aircraft heard again by a receiver: not called; somebody who truly comes close: called."""

from __future__ import annotations

import math

import pytest

from tests.estimate.trafficscene import Drone, Own, Path, Scene, State, Vehicle, straight


def up_and_away(t: float) -> State:
    """On the ground for 20 s, up to 60 m, a circle of 80 m radius at 8 m/s, from 60 s on."""
    if t < 20:
        return State(height_m=0.0)
    if t < 50:
        return State(height_m=2.0 * (t - 20), climb_m_s=2.0)
    turned = 0.1 * max(0.0, t - 60)
    speed = 8.0 if t >= 60 else 0.0
    return State(
        80 * math.sin(turned),
        80 * (1 - math.cos(turned)),
        60.0,
        speed * math.cos(turned),
        speed * math.sin(turned),
    )


def later(path: Path, lag_s: float, off_m: float = 0.0) -> Path:
    """Return the same path as it is told `lag_s` later, `off_m` to the east."""

    def told(t: float) -> State:
        s = path(max(0.0, t - lag_s))
        return State(s.north_m, s.east_m + off_m, s.height_m, s.north_m_s, s.east_m_s, s.climb_m_s)

    return told


@pytest.mark.parametrize(("lag_s", "off_m"), [(0, 0), (1, 3), (2.5, 5), (4, 0)])
@pytest.mark.parametrize("kind", [Vehicle, Drone])
def test_the_echo_is_not_called(kind: type[Vehicle | Drone], lag_s: float, off_m: float) -> None:
    scene = Scene(Own(up_and_away), others=[kind(later(up_and_away, lag_s, off_m))]).run(0, 150)
    assert scene.calls() == []
    assert scene.read("traffic.count") == 0


def test_the_echo_is_not_called_where_the_watch_begins_in_flight() -> None:
    def flying(t: float) -> State:
        return up_and_away(t + 70)

    scene = Scene(Own(flying), others=[Vehicle(later(flying, 1))]).run(0, 60)
    assert scene.calls() == []


def test_the_echo_of_a_hover() -> None:
    hover = straight(0, 0, 60, 0, 0)
    scene = Scene(Own(hover), others=[Drone(later(hover, 0, 4))]).run(0, 60)
    assert scene.calls() == []


def test_an_echo_hides_nobody_else() -> None:
    others = [Vehicle(later(up_and_away, 1)), Vehicle(straight(-6000, 0, 60, 50, 0), address=0x123456)]
    scene = Scene(Own(up_and_away), others=others).run(0, 125)
    assert [rule for rule, _ in scene.raised()] == ["traffic-converges", "traffic-near"]


@pytest.mark.parametrize("speed_m_s", [8, 20, 60])
def test_one_that_comes_from_afar_to_the_very_place_is_called(speed_m_s: float) -> None:
    """It stops right where the aircraft hovers, and stays there."""
    far = speed_m_s * 70.0

    def comes(t: float) -> State:
        north = max(0.0, far - speed_m_s * t)
        return State(north, 0.0, 60.0, -speed_m_s if north else 0.0)

    scene = Scene(Own(straight(0, 0, 60, 0, 0)), others=[Vehicle(comes)]).run(0, 150)
    assert [rule for rule, _ in scene.raised()][:2] == ["traffic-converges", "traffic-near"]
    assert "cleared" not in [change for _, rule, change, _ in scene.calls() if rule == "traffic-near"]


def test_one_that_flies_in_formation_after_coming_near_is_called() -> None:
    """A drone comes from 150 m to 10 m beside and keeps there, while the aircraft flies north at 5 m/s."""

    def beside(t: float) -> State:
        east = max(10.0, 150 - 5 * t)
        return State(5 * t, east, 60.0, 5.0, -5.0 if east > 10 else 0.0)

    scene = Scene(Own(straight(0, 0, 60, 5, 0)), others=[Drone(beside)]).run(0, 55)
    assert "traffic-near" in dict(scene.raised())
    assert dict(scene.raised())["traffic-near"] < 30


def test_one_that_pops_up_near_is_called_at_once() -> None:
    """First heard 100 m off and closing: no time is taken to find out whether it is an echo."""
    scene = Scene(
        Own(straight(0, 0, 60, 0, 0)), others=[Drone(lambda t: straight(100 - 4 * (t - 20), 0, 60, -4, 0)(0))]
    )
    others, scene.others = scene.others, []
    scene.run(0, 20)
    scene.others = others
    scene.run(20, 26)
    assert dict(scene.raised())["traffic-near"] <= 23


def test_one_that_parts_is_called_from_then_on() -> None:
    """A second drone starts beside the aircraft, is taken for its echo, then flies off and comes back at it."""

    def parts(t: float) -> State:
        if t < 40:
            return State(0, 5, 60)
        out = min(t - 40, 40 - (t - 40)) if t < 80 else 0.0
        return State(0, 5 + 3 * out, 60, 0, 3.0 if t < 60 else -3.0)

    scene = Scene(Own(straight(0, 0, 60, 0, 0)), others=[Drone(parts)]).run(0, 90)
    assert dict(scene.raised())["traffic-near"] < 66


def test_own_address_is_believed_near_only() -> None:
    """Somebody else flies with the aircraft's address: far off it is traffic."""
    own = Own(straight(0, 0, 60, 0, 0))
    vehicle = Vehicle(straight(4000, 0, 60, -50, 0), address=0x222222)
    scene = Scene(own, others=[vehicle])
    scene.engine.receive("udp://a", own.frames(0), 1_777_000_000.0)
    scene.engine.receive("udp://a", own.sender.pack("UAVIONIX_ADSB_OUT_CFG", ICAO=0x222222), 1_777_000_000.0)
    scene.run(0, 70)
    assert dict(scene.raised())["traffic-near"] < 60


def test_the_echo_of_one_is_no_traffic_to_the_other() -> None:
    first = straight(0, 0, 60, 0, 0)
    second = straight(100, 40, 60, 1, 0)
    scene = Scene(Own(first), Own(second, system=9), others=[Vehicle(later(second, 1)), Drone(later(first, 1))])
    scene.run(0, 60)
    assert [call for call in scene.calls() if call[1].startswith("traffic")] == []

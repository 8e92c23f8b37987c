"""Who asked for a mode: MAVLink's CURRENT_MODE as its definition has it, orders, switches, plan, nobody."""

from __future__ import annotations

import pytest

from tests.estimate.conductworld import HEIGHT_HOLD, HOLD, LAND, MISSION, RETURN, World


class Asked(World):
    watched = "flight.mode_cause"


def flying(mode: int = HOLD, *, told: bool = False) -> Asked:
    world = Asked(mode=mode, told=told)
    assert set(world.move(10.0)) == {"none"}
    return world


def test_current_mode_tells_what_was_commanded_and_what_was_left() -> None:
    # common.xml: "different if the vehicle is unable to enter the intended mode, or has left that mode due to a
    # failsafe condition. 0 indicates the intended custom mode is unknown/not supplied"
    world = flying(told=True)
    world.mode = RETURN
    assert world.move(6.0)[-1] == "own_return"
    world.intended = RETURN  # now the pilot orders it too
    assert world.move(4.0)[-1] == "ordered"
    world = flying(told=True)
    world.mode = world.intended = RETURN
    assert world.move(6.0)[-1] == "ordered"
    world = flying(told=True)
    world.intended = 0
    world.mode = RETURN
    assert world.move(6.0)[-1] == "unknown"


@pytest.mark.parametrize(("mode", "cause"), [(LAND, "own_landing"), (HEIGHT_HOLD, "own")])
def test_own_changes_by_where_they_lead(mode: int, cause: str) -> None:
    world = flying(told=True)
    world.mode = mode
    assert world.move(6.0)[-1] == cause


@pytest.mark.parametrize(
    ("name", "fields"),
    [("COMMAND_LONG", {"command": 20}), ("COMMAND_INT", {"command": 176}), ("SET_MODE", {"custom_mode": 5})],
)
def test_an_order_seen_on_its_way_up(name: str, fields: dict[str, int]) -> None:
    world = flying()
    world.order(name, target_system=7, **fields)
    world.mode = RETURN
    assert world.move(2.0)[-1] == "ordered"


def test_an_order_to_another_or_of_another_mode_or_long_ago_is_none_for_this() -> None:
    for fields in ({"target_system": 8, "command": 20}, {"target_system": 7, "command": 21}):
        world = flying()
        world.order("COMMAND_LONG", **fields)
        world.mode = RETURN
        assert world.move(6.0)[-1] in {"unknown", "unasked"}
    world = flying()
    world.order("COMMAND_LONG", target_system=7, command=20)
    world.move(20.0)
    world.mode = RETURN
    assert world.move(6.0)[-1] == "unknown"  # no switch was ever seen to move: one may be out of sight


def test_what_the_aircraft_acknowledges_was_ordered_and_what_it_refuses_was_not() -> None:
    for result, cause in ((0, "ordered"), (2, "unknown")):  # MAV_RESULT_ACCEPTED, MAV_RESULT_DENIED
        world = flying()
        world.mode = RETURN
        world.move(1.0)
        world.send("COMMAND_ACK", command=20, result=result)
        assert world.move(6.0)[-1] == cause


def test_a_switch_of_the_radio_control() -> None:
    world = flying()
    world.switches = (1500, 1900, 1500, 1500)
    world.mode = RETURN
    assert world.move(2.0)[-1] == "switched"
    world = flying()
    world.switches = (1520, 1500, 1480, 1500)  # noise
    world.mode = RETURN
    assert world.move(6.0)[-1] == "unknown"


def test_a_control_link_that_is_lost_acts_by_itself_and_its_channels_are_no_switches() -> None:
    world = flying()
    world.sticks = (65535,) * 4
    world.switches = (65535,) * 4
    world.move(3.0)
    world.mode = RETURN
    assert world.move(2.0)[-1] == "own_return"
    world.sticks, world.switches = (1500,) * 4, (1100,) * 4  # heard again, as set meanwhile
    world.move(5.0)
    world.mode = HOLD
    assert "switched" not in world.move(6.0)


def test_a_critical_state_that_begins_with_the_change_is_its_own() -> None:
    world = flying()
    world.mode, world.state = LAND, 5  # MAV_STATE_CRITICAL
    assert world.move(2.0)[-1] == "own_landing"
    world = flying()
    world.state = 5
    world.move(20.0)
    world.mode = LAND
    assert world.move(6.0)[-1] == "unknown"


def test_its_own_words_count_where_severity_is_counted_as_the_standard_does() -> None:
    for informs, cause in ((True, "own_return"), (False, "unknown")):
        world = flying()
        if informs:
            world.send("STATUSTEXT", severity=6, text="ready")
        world.move(10.0)
        world.mode = RETURN
        world.send("STATUSTEXT", severity=3, text="something is wrong")
        assert world.move(6.0)[-1] == cause


def test_with_orders_and_switches_in_sight_nobody_asked() -> None:
    world = flying()
    world.order("COMMAND_LONG", target_system=7, command=17)
    world.switches = (1500, 1900, 1500, 1500)
    world.move(20.0)
    world.mode = RETURN
    found = world.move(6.0)
    assert found[-1] == "unasked"
    assert found[:4] == ["none"] * 4  # it is given its time


def test_what_follows_by_itself_is_planned() -> None:
    world = flying(RETURN, told=True)
    world.mode = LAND  # the end of a return; the mode last commanded stays the return
    assert world.move(6.0)[-1] == "planned"
    world = flying(MISSION)
    world.send("MISSION_COUNT", count=4)
    world.send("MISSION_ITEM_INT", seq=3, command=20)
    world.send("MISSION_CURRENT", seq=2, total=4)
    world.mode = RETURN
    assert world.move(6.0)[-1] == "planned"
    world = flying(MISSION)
    world.send("MISSION_COUNT", count=9)
    world.send("MISSION_CURRENT", seq=2, total=9)
    world.mode = RETURN
    assert world.move(6.0)[-1] == "unknown"


def test_a_number_that_is_named_late_is_one_change() -> None:
    world = flying(RETURN, told=True)
    world.mode = 99
    world.send("HEARTBEAT", type=2, base_mode=129, custom_mode=99, system_status=4)
    world.parts[3].run(world.now_us)
    world.mode = LAND
    assert world.move(6.0)[-1] == "planned"


def test_on_the_ground_and_at_first_sight_nothing_is_judged() -> None:
    world = Asked(mode=RETURN)
    assert set(world.move(6.0)) == {"none"}


def test_a_slow_current_mode_is_waited_for() -> None:
    world = flying()
    for _ in range(3):  # every eight seconds
        world.send("CURRENT_MODE", standard_mode=1, custom_mode=1, intended_custom_mode=1)
        world.move(8.0)
    world.mode = RETURN
    assert set(world.move(7.0)) == {"none"}
    world.send("CURRENT_MODE", standard_mode=5, custom_mode=5, intended_custom_mode=5)
    assert world.move(1.0)[-1] == "ordered"


def test_a_mode_without_a_name_yet_is_not_judged_before_it_is_named() -> None:
    world = flying()
    world.sticks = world.switches = (65535,) * 4
    world.move(3.0)
    world.mode = 99
    assert set(world.move(2.5)) == {"none"}
    world.mode = RETURN
    assert world.move(1.5)[-1] == "own_return"

"""Test calls before a take-off: given to every role, confirmed by each, for one flight."""

from __future__ import annotations

import pytest

from tests.alerts.driver import pack, rule
from tests.test_before_take_off import ARMED, CREW, Ground, called, steps
from tests.test_engine import T0
from watchkeeper.alerts.events import Happening, Order, Refusal, RoutineCall, Step

RULES = pack(rule('id: high\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Land soon."'))
ALL = "crew: {roles: [pilot, observer, post]}"
AUTOMATIC = "crew: {roles: [pilot, observer], test_calls: true}"


def ground(sortie: str | None = ALL) -> Ground:
    made = Ground(sortie, RULES)
    made.run(3)
    return made


def calls(happened: list[Happening]) -> list[tuple[str, str]]:
    return [(h.rule, h.callout) for h in happened if isinstance(h, RoutineCall)]


def refused(happened: list[Happening]) -> list[str]:
    return [h.reason for h in happened if isinstance(h, Refusal)]


def test_each_role_is_called_by_name_and_all_see_it() -> None:
    field = ground()
    happened = field.order("test", role="observer")
    assert [(step.step, step.by, step.aircraft) for step in steps(happened)] == [(Step.CALLED, "observer", 7)]
    assert calls(happened) == [
        ("watch-test-pilot", "Test. Watch to pilot, confirm that you hear."),
        ("watch-test-observer", "Test. Watch to observer, confirm that you hear."),
        ("watch-test-post", "Test. Watch to post, confirm that you read."),
    ]


def test_named_roles_are_reasons_until_each_has_answered_a_call_that_was_given() -> None:
    field = ground()
    assert field.of("Crew") == [f"Crew. No test call to the {role} yet." for role in ("pilot", "observer", "post")]
    field.order("test")
    field.run(1)
    assert field.of("Crew")[1] == "Crew. Test call to the observer not given."
    [given] = steps(field.order("given", role="observer", by="voice"))
    assert (given.step, given.role, given.by) == (Step.GIVEN, "observer", "voice")
    field.run(1)
    assert field.of("Crew")[1] == "Crew. The observer has not confirmed to hear the watch."
    [done] = steps(field.order("confirm", role="observer"))
    assert (done.step, done.role, done.by) == (Step.CONFIRMED, "observer", "observer")
    field.run(1)
    assert field.of("Crew") == [f"Crew. Test call to the {role} not given." for role in ("pilot", "post")]


def test_a_confirmation_that_answers_nothing_is_refused() -> None:
    field = ground()
    assert refused(field.order("confirm", role="observer")) == ["no test call has been given to this role"]
    assert field.order("given", role="observer", by="voice") == []  # nobody called
    field.order("test")
    assert refused(field.order("confirm", role="observer")) == ["no test call has been given to this role"]
    [failed] = steps(field.order("given", role="observer", by="voice", ok=False, text="no sound device"))
    assert (failed.step, failed.reason) == (Step.NOT_GIVEN, "no sound device")
    assert refused(field.order("confirm", role="observer")) == ["no test call has been given to this role"]
    field.order("given", role="pilot", by="voice")
    assert refused(field.order("confirm", role="observer")) == ["no test call has been given to this role"]
    field.run(121)
    assert refused(field.order("confirm", role="pilot")) == ["the test call was too long ago; ask for another"]


def test_a_new_round_asks_for_confirmation_anew_and_rounds_do_not_pile_up() -> None:
    field = ground()
    field.order("test")
    assert refused(field.order("test")) == ["test calls are being given"]
    field.order("given", role="pilot", by="voice")
    field.order("confirm", role="pilot")
    field.run(11)
    field.order("test")
    field.run(1)
    assert len(field.of("Crew")) == 3
    assert refused(field.order("confirm", role="pilot")) == ["no test call has been given to this role"]


def test_only_on_the_ground_and_for_one_flight() -> None:
    field = ground()
    field.order("test")
    for role in ("pilot", "observer", "post"):
        field.order("given", role=role, by="x")
        field.order("confirm", role=role)
    field.run(1)
    assert field.of("Crew") == []
    field.armed, field.landed = True, 2
    field.run(12)
    assert refused(field.order("test")) == ["test calls are given on the ground"]
    field.landed, field.armed = 1, False
    happened = field.run(8)
    assert [step.step for step in steps(happened)] == [Step.ANEW]
    assert field.of("Crew")[0] == "Crew. No test call to the pilot yet."
    assert refused(field.order("confirm", role="pilot")) == ["no test call has been given to this role"]


def test_while_the_phase_is_not_known_it_counts_as_in_flight() -> None:
    field = Ground(ALL, RULES)
    alive = {"type": 13, "autopilot": 0, "base_mode": ARMED, "mavlink_version": 3}
    for second in range(3):
        field.engine.receive("a", field.air.encode("HEARTBEAT", **alive), T0 + second)
    assert field.engine.readings(7)["flight.phase"] is None
    assert refused(field.order("test")) == ["test calls are given on the ground"]


def test_a_crew_that_named_no_roles_may_test_but_is_not_asked_to() -> None:
    field = ground(None)
    assert field.of("Crew") == []
    assert len(calls(field.order("test"))) == 3
    field.order("given", role="post", by="mqtt")
    assert steps(field.order("confirm", role="post"))
    field.run(1)
    assert field.of("Crew") == []


def test_a_role_that_is_not_named_is_not_asked() -> None:
    field = ground(CREW)
    assert len(calls(field.order("test"))) == 2
    assert refused(field.order("confirm", role="post")) == ["this role is not asked to confirm"]


def test_confirming_does_not_mean_that_the_checklist_is_kept_here() -> None:
    field = ground(CREW)
    field.order("test")
    field.order("given", role="pilot", by="voice")
    field.order("confirm", role="pilot")
    field.run(1)
    assert field.of("Checklist") == []


def test_a_crew_that_wants_it_is_called_once_after_each_power_up() -> None:
    field = Ground(AUTOMATIC, RULES)
    field.run(8)
    assert called(field.happened, "watch-test-pilot") == []  # the link has not settled
    field.run(60)
    assert len(called(field.happened, "watch-test-pilot")) == 1
    [call] = [step for step in steps(field.happened) if step.step is Step.CALLED]
    assert call.by == "watch"
    field.second += 30  # powered down, packs changed
    start_s = field.second
    frames = field._frames

    def rebooted() -> bytes:
        field.second -= start_s + 100 - 1
        data = frames()
        field.second += start_s + 100 - 1
        return data

    field._frames = rebooted  # type: ignore[method-assign]
    field.run(20)
    assert len(called(field.happened, "watch-test-pilot")) == 2


@pytest.mark.parametrize("armed", [True, False])
def test_nobody_is_called_by_itself_in_the_air_or_armed(armed: bool) -> None:
    field = Ground(AUTOMATIC, RULES)
    field.armed = True
    field.landed = 1 if armed else 2
    field.run(30)
    assert called(field.happened, "watch-test-pilot") == []


def test_an_unknown_aircraft_is_refused() -> None:
    field = ground()
    for action in ("test", "confirm", "check"):
        assert refused(field.engine.order(Order(action, aircraft=9), T0 + 100)) == ["no such aircraft"]

"""The outlet and what it keeps: sent first by the next watch, with an end to what stood, once people listen."""

from __future__ import annotations

import json
from pathlib import Path

from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told, change
from tests.edges.spool_parts import event, left_in
from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.edges.mqtt.outbox import Outbox, Waiting


def test_what_was_answered_just_before_the_end_of_a_connection_waits_again() -> None:
    outbox = Outbox(max_waiting=4)
    old, new, unanswered = event("old"), event("new"), event("unanswered")
    for one in (old, new, unanswered):
        assert outbox.put(one) == []
    assert outbox.answered(old, START_US)
    assert outbox.answered(new, START_US + 15_000_000)
    assert outbox.first(9) == [unanswered]
    assert outbox.settled(START_US + 20_000_000) == [old]
    assert outbox.take_back() == []
    assert outbox.first(9) == [new, unanswered]


def test_the_outbox_is_bounded_in_bytes_too() -> None:
    outbox = Outbox(max_bytes=250)
    first = Waiting("t", b"x" * 100, Level.CAUTION.urgency)
    assert outbox.put(first) == []
    assert outbox.put(Waiting("t", b"y" * 100, Level.WARNING.urgency)) == []
    large = Waiting("t", b"z" * 200, Level.CAUTION.urgency)
    assert outbox.put(large) == [first, large]
    assert len(outbox) == 1


async def test_a_watch_that_starts_anew_sends_what_is_left_and_ends_what_stood(
    broker: Broker, listener: Listener, tmp_path: Path
) -> None:
    told = Told()
    before = told.outlet("mqtt://127.0.0.1:1", spool=tmp_path)
    for rule in ("a", "b"):
        before.put(change(rule=rule, spoken=True))
    before.put(change(State.NORMAL, Change.CLEARED, rule="a"))
    before.close()  # as a kill leaves it: nobody has said farewell
    listener.publish("watchkeeper/field-1/42/alert/b", b"{}", retain=True)
    told.now_us += 31_000_000
    after = told.outlet(broker.url, spool=tmp_path)
    after.put(change(rule="c"))
    async with Running(after):
        await listener.on("watchkeeper/field-1/42/event", rule="c")
        await listener.until(lambda one: one.topic == "watchkeeper/field-1/42/alert/b" and not one.payload)
    events = [one.json() for one in listener.heard if one.topic.endswith("/event")]
    assert [(one["rule"], one["change"], one["by"]) for one in events] == [
        ("a", "raised", None), ("b", "raised", None), ("a", "cleared", None), ("b", "cleared", "watch"),
        ("c", "raised", None),
    ]  # fmt: skip
    assert (events[3]["state"], events[3]["spoken"]) == ("normal", False)
    assert not [one for one in listener.heard if one.topic.endswith("/callout")]
    outcomes = [(item.rule, outcome) for item, outcome, _ in told.delivered]
    assert outcomes.count(("a", "expired")) == 1
    assert outcomes.count(("a", "published")) == 2
    after.close()
    assert left_in(tmp_path) == []  # neither what was answered nor what had expired


async def test_what_waits_at_the_end_is_kept_and_so_is_what_comes_after(tmp_path: Path) -> None:
    told = Told()
    outlet = told.outlet("mqtt://127.0.0.1:1", spool=tmp_path)
    async with Running(outlet):
        outlet.put(change(rule="a"))
        await told.until(lambda: bool(told.reports))
    outlet.put(change(rule="b"))  # the last tick of the watch comes after its outlets have ended
    outlet.close()
    assert [(item.rule, outcome) for item, outcome, _ in told.delivered] == [("a", "kept")]
    assert [json.loads(payload)["rule"] for payload in left_in(tmp_path)] == ["a", "b"]


async def test_overflow_is_counted_and_leaves_the_file_too(tmp_path: Path) -> None:
    told = Told()
    outlet = told.outlet("mqtt://127.0.0.1:1", spool=tmp_path, outbox=Outbox(max_waiting=2))
    for rule, level in (("a", Level.WARNING), ("b", Level.ADVISORY), ("c", Level.CAUTION), ("d", Level.ADVISORY)):
        outlet.put(change(rule=rule, level=level))
    outlet.close()
    assert outlet.dropped == 2
    assert [(item.rule, outcome) for item, outcome, _ in told.delivered] == [("b", "lost"), ("d", "lost")]
    assert [json.loads(payload)["rule"] for payload in left_in(tmp_path)] == ["a", "c"]


async def test_events_wait_for_listeners_to_come_back_and_states_do_not(broker: Broker, tmp_path: Path) -> None:
    told = Told()
    outlet = told.outlet(broker.url, hold_s=1.5, spool=tmp_path)
    first = Listener(broker.port)
    await first.ready()
    async with Running(outlet):
        outlet.put(change(rule="before"))
        await first.on("watchkeeper/field-1/42/event", rule="before")  # no wait on a first connection
        first.close()
        broker.stop()
        outlet.put(change(rule="away"))
        await told.until(lambda: bool(told.reports))
        broker.start()
        here = Listener(broker.port)
        await here.on("watchkeeper/field-1/42/alert/away")
        assert not [one for one in here.heard if one.topic.endswith("/event")]
        back = Listener(broker.port)  # somebody who comes back a little later has missed no event
        await back.ready()
        for one in (here, back):
            await one.on("watchkeeper/field-1/42/event", rule="away")
            one.close()
    outlet.close()


async def test_a_watch_that_was_away_alone_holds_nothing_back(
    broker: Broker, listener: Listener, tmp_path: Path
) -> None:
    """The broker still has our status, so it did not forget who listens. A wait would be longer than this test."""
    told = Told()
    before = told.outlet(broker.url, spool=tmp_path, hold_s=600.0)
    async with Running(before):
        await listener.on("watchkeeper/field-1/status", state="watching")
    before.put(change(rule="late"))
    before.close()
    after = told.outlet(broker.url, spool=tmp_path, hold_s=600.0)
    async with Running(after):
        await listener.on("watchkeeper/field-1/42/event", rule="late", change="raised")
    after.close()


async def test_a_broker_that_forgot_is_given_time_after_a_restart_of_the_watch(
    broker: Broker, listener: Listener, tmp_path: Path
) -> None:
    told = Told()
    before = told.outlet("mqtt://127.0.0.1:1", spool=tmp_path)
    before.put(change(rule="late"))
    before.close()
    after = told.outlet(broker.url, spool=tmp_path, hold_s=600.0)
    async with Running(after):
        after.put(change(rule="new"))
        await listener.on("watchkeeper/field-1/42/alert/new")
        await listener.on("watchkeeper/field-1/status", state="watching")
    after.close()
    assert not [one for one in listener.heard if one.topic.endswith("/event")]
    rules = [json.loads(payload)["rule"] for payload in left_in(tmp_path)]
    assert rules == ["late", "late", "new"]  # raised, ended, and the new one

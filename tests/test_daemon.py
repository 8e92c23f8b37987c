"""What the running watch gives its engine."""

from __future__ import annotations

from tests.recordings import shipped
from tests.test_engine import Plane
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.engine import Engine


async def test_what_comes_before_the_recording_has_begun_is_not_taken() -> None:
    # a source is open while the next is being opened; what it brought then would be in no recording
    clock, plane = Clock(), Plane()
    watch = Watch(Engine(shipped()), clock, tell=lambda _: None)
    watch.received("udp://a", plane.frames(0), clock.now_s())
    assert not watch.engine.started
    watch.start(clock.now_us())
    watch.received("udp://a", plane.frames(0), clock.now_s())
    assert watch.engine.started

"""What looks after the watch itself and the computer it runs on, as tasks beside the watch."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import structlog

from watchkeeper.daemon import Watch
from watchkeeper.edges.host.sound_health import CHANGED, SoundWatch
from watchkeeper.edges.host.staying_awake import MAY_SLEEP, StayingAwake
from watchkeeper.edges.minder.minder import Minder
from watchkeeper.edges.sources.gaps import Gaps
from watchkeeper.edges.voice.outlet import RESTARTED

Feed = Callable[[], Awaitable[None]]


def health_feeds(watch: Watch, minder: Minder | None, *, mute: bool) -> list[Feed]:
    """Return the tasks. `minder` is None in an exercise, which holds no computer awake either."""
    for text in (CHANGED, MAY_SLEEP, RESTARTED):
        watch.advise_only(text)
    jobs: dict[str, Feed] = {}
    if not mute:
        jobs["sound"] = SoundWatch(watch.report).run
    if minder is not None:
        minder.announce()
        jobs |= {"gap": Gaps(watch.report).run, "sleep": StayingAwake(watch.report).run}
        if not mute:
            jobs["minder"] = minder.run
    return [_contained(watch, part, job) for part, job in jobs.items()]


def _contained(watch: Watch, part: str, job: Feed) -> Feed:
    """Let a job that fails be reported, and not end the watch."""

    async def run() -> None:
        try:
            await job()
        except Exception as error:  # noqa: BLE001  (whatever it is, the aircraft is still to be watched)
            structlog.get_logger().warning("a part failed", part=part, error=repr(error))
            watch.report(f"{part}-check", False, "A look at this computer failed. The watch goes on.")

    return run

"""What a page shows beside alerts and readings, on its way to the broker: never late, the slow part retained."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple, TypeAlias

import structlog

from watchkeeper.edges.messages.payloads import Writer
from watchkeeper.edges.messages.views import (
    OUTLOOK_VALID_S,
    AircraftSurroundings,
    outlook_of,
    surroundings_of,
    watch_outlook_of,
)
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.picture.models import StationPicture

PictureNow: TypeAlias = Callable[[], StationPicture]
ANEW_EVERY_US: Final = 10_000_000
"""The reach changes with every gust; a page is as good with one of ten seconds ago."""
MOST: Final = 256
"""More than there can be aircraft: what others leave at the broker beyond that is not looked after at once."""
_HEAD: Final = frozenset({"message_id", "exercise", "sent_at", "valid_until"})


class View(NamedTuple):
    """One message."""

    topic: str
    payload: bytes
    retain: bool


class _Held(NamedTuple):
    """What the broker was last given."""

    content: str
    since_us: int


class Views:
    """Makes messages of pictures. Without anything that makes pictures it makes none."""

    def __init__(self, topics: Topics, writer: Writer, picture: PictureNow | None) -> None:
        self._topics = topics
        self._writer = writer
        self._picture = picture
        self._held: dict[str, _Held | None] = {}
        self._failed = False

    def anew(self) -> None:
        """Publish all anew: the broker may have forgotten."""
        self._held = dict.fromkeys(self._held)

    def found(self, topic: str) -> None:
        """Take note that the broker holds something there; without an aircraft behind it, it is to be emptied."""
        if len(self._held) < MOST:
            self._held.setdefault(topic, None)

    def take(self, now_us: int) -> list[View]:
        """Return what is to be sent now. Raises nothing: alerts go on without pictures."""
        if self._picture is None:
            return []
        try:
            return self._made(self._picture(), now_us)
        except Exception:  # noqa: BLE001
            if not self._failed:
                self._failed = True
                structlog.get_logger().exception("mqtt pictures failed")
            return []

    def refused(self, topic: str) -> None:
        """Take note that the broker did not take what is to be retained: it is sent again, but not at once."""
        held = self._held.get(topic)
        if held is not None:
            self._held[topic] = _Held("", held.since_us)

    def last(self) -> list[View]:
        """Return what takes away what is retained: the watch ends."""
        topics, self._held = [*self._held], {}
        return [View(topic, b"", True) for topic in topics]

    def _made(self, picture: StationPicture, now_us: int) -> list[View]:
        views = []
        here = set()
        head = self._writer.head
        watch = watch_outlook_of(picture, head(now_us, OUTLOOK_VALID_S))
        views.append(View(self._topics.under(None, "outlook"), watch.to_json(), False))
        for one in picture.aircraft:
            topic = self._topics.surroundings_of(one.system)
            here.add(topic)
            if self._due(topic, now_us):
                slow = surroundings_of(one, head(now_us, None))
                views += self._changed(topic, slow, now_us)
            fast = outlook_of(one, head(now_us, OUTLOOK_VALID_S))
            views.append(View(self._topics.under(one.system, "outlook"), fast.to_json(), False))
        for topic in [topic for topic in self._held if topic not in here]:
            del self._held[topic]
            views.append(View(topic, b"", True))
        return views

    def _due(self, topic: str, now_us: int) -> bool:
        held = self._held.get(topic)
        return held is None or now_us - held.since_us >= ANEW_EVERY_US

    def _changed(self, topic: str, slow: AircraftSurroundings, now_us: int) -> list[View]:
        content = slow.model_dump_json(exclude=set(_HEAD))
        held = self._held.get(topic)
        if held is not None and held.content == content:
            return []
        self._held[topic] = _Held(content, now_us)
        return [View(topic, slow.to_json(), True)]

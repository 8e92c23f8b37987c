"""The outlet that speaks to the observer by phone: a voice of their own, played into the stream.

What was said while no phone played is kept, and said once one does if it still stands.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from watchkeeper.alerts.audience import OBSERVER
from watchkeeper.alerts.events import AlertChange, Change, Happening, State
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.edges.clock import steady_us
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reached import PHONE
from watchkeeper.edges.reports import Report
from watchkeeper.edges.voice.attention import STAND_IN
from watchkeeper.edges.voice.outlet import DEVICE_STOPPED, NO_WORDS, RESTARTED, Reword, Voice
from watchkeeper.page.hearing import Hearing
from watchkeeper.page.sound_stream import SoundStream

NO_PHONE: Final = "no phone plays"
TROUBLES: Final = {
    NO_WORDS: "Voice of the observer's phone failed. It only sounds.",
    DEVICE_STOPPED: "Observer's phone gets no sound. Tell the observer.",
    RESTARTED: "Voice of the observer's phone failed. A callout came late.",
}
_STANDS: Final = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.LATCHED)
MOST_MISSED: Final = 64

Key = tuple[str, int | None]


class Phone:
    """An outlet of the hub; `stream` and `hearing` are what the server's routes use."""

    name = PHONE

    def __init__(
        self,
        report: Report,
        delivered: Delivered,
        options: VoiceOptions,
        *,
        language: Language = ENGLISH,
        reword: Reword = lambda _: None,
        now_us: Callable[[], int] = steady_us,
    ) -> None:
        """`options` are the voice's own: the phones speak as it does, to the observer."""
        self._tell = delivered
        self._reword = reword
        self._missed: dict[Key, AlertChange] = {}
        self.stream = SoundStream(now_us=now_us)
        self.hearing = Hearing(report, self.stream.listeners.has, began=self._began, now_us=now_us)
        self.voice = Voice(
            report,
            self._delivered,
            options.model_copy(update={"role": OBSERVER, "device": None}),
            name=PHONE,
            player=self.stream,
            troubles=TROUBLES,
            language=language,
            ahead=[language.phrase(words) for words in STAND_IN.values()],
            reword=reword,
            now_us=now_us,
        )

    @property
    def wanted(self) -> bool:
        """The observer listens by phone, or would if it were not lost."""
        return self.hearing.by_role()[OBSERVER] is not None

    def put(self, item: Happening) -> None:
        """Take what happened."""
        if isinstance(item, AlertChange) and (item.state not in _STANDS or OBSERVER in item.acknowledged_by):
            self._missed.pop((item.rule, item.aircraft), None)
        self.voice.put(item)

    async def run(self) -> None:
        """Speak and stream until cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self.stream.run(), name="sound stream")
            group.create_task(self.hearing.run(), name="who hears")
            group.create_task(self.voice.run(), name="voice of the phones")

    def _delivered(self, item: Happening, outcome: str, detail: str) -> None:
        heard = self.hearing.by_role()[OBSERVER] is True
        if outcome == "spoken" and not heard:
            outcome, detail = "failed", NO_PHONE
        if isinstance(item, AlertChange):
            key = item.rule, item.aircraft
            if outcome == "spoken":
                self._missed.pop(key, None)
            elif not heard and detail in (NO_PHONE, self.stream.absent) and len(self._missed) < MOST_MISSED:
                self._missed[key] = item
        self._tell(item, outcome, detail)

    def _began(self, role: str) -> None:
        """Say what was missed: it still stands."""
        if role != OBSERVER:
            return
        missed, self._missed = self._missed, {}
        for item in missed.values():
            words = self._reword(item) or item.callout
            self.voice.put(replace(item, change=Change.REPEATED, callout=words))

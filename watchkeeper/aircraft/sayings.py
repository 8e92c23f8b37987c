"""Words from outside on their way to the crew: cleaned, cut short, each said once, a few at a time.

They come from whoever sends: nothing but letters, digits and plain signs gets through, five words and one
number at most, and a flood costs no more than a look at each text.
"""

from __future__ import annotations

import re
import unicodedata
from collections import deque
from typing import Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import US, Readings, Stream

SLOTS: Final = ("urgent", "caution", "advisory", "battery", "link", "position")
"""Each is a reading `text.…` that shows one text at a time."""
MOST_WORDS: Final = 5
"""With level, subject and what to do these are twelve."""
LONGEST_WORD: Final = 20
SAME_US: Final = 60 * US
"""The same words within this are one."""
MOST_KNOWN: Final = 64
MOST_WAITING: Final = 3
MOST_A_SECOND: Final = 10
"""Texts that are looked at closely; what comes beyond is a flood, and is counted only."""
_SHOWN_US: Final = round(CATALOGUE[INDEX["text.urgent"]].max_age_s * US)
_GAP_US: Final = 2 * US
"""Between two texts their alert has to end, which the watch looks for once a second."""
_LATEST_US: Final = 30 * US
"""What has waited longer is said no more, unless it is urgent."""
_NUMBER: Final = re.compile(r"\d+(?:[.,]\d+)*")
_SIGNS: Final = re.compile(r"[^\w%+/.'-]|_|\.(?!\d)|(?<!\d)\.|(?<!\w)['/+-]+(?!\d)|['/+-]+(?!\w)")
_SUBJECTS: Final = (
    ("battery", re.compile(r"\b(?:batt\w*|volt\w*|cells?|pack)\b", re.IGNORECASE)),
    ("link", re.compile(r"\b(?:link|radio|telemetry|datalink|gcs|rc|receiver|signal)\b", re.IGNORECASE)),
    ("position", re.compile(r"\b(?:gps|gnss|position|satellites?|fix)\b", re.IGNORECASE)),
)
"""Words of the trade by which a text is known to be about what the watch has rules of its own for."""


def clean(words: str) -> str:
    """Return what of a text can be said: at most five words, one number, no sign that ends a sentence."""
    plain = unicodedata.normalize("NFKC", words[:200])
    kept: list[str] = []
    numbers = 0
    for word in _SIGNS.sub(" ", plain).split():
        numbers += _NUMBER.search(word) is not None
        if numbers > 1 and _NUMBER.search(word) is not None:
            continue
        kept.append(word[:LONGEST_WORD])
        if len(kept) == MOST_WORDS:
            break
    return " ".join(kept)


class _Slot:
    __slots__ = ("index", "shown_us", "stream", "waiting")

    def __init__(self, name: str) -> None:
        self.index = INDEX[f"text.{name}"]
        self.stream = Stream()
        self.shown_us: int | None = None
        self.waiting: deque[tuple[int, str]] = deque(maxlen=MOST_WAITING)


class Sayings:
    """What is shown in each slot, what waits, and what was said lately."""

    __slots__ = ("_known", "_looked", "_second", "_slots", "dropped")

    def __init__(self) -> None:
        self._slots = {name: _Slot(name) for name in SLOTS}
        self._known: dict[str, int] = {}
        """When each text, its numbers masked, was last heard (urgent: said)."""
        self._second = -1
        self._looked = 0
        self.dropped = 0
        """Texts that a flood kept from being looked at."""

    def say(self, name: str, words: str, now_us: int, readings: Readings) -> None:
        """Say a text, now or when its slot is free, unless the same was said within a minute."""
        second = now_us // US
        if second != self._second:
            self._second, self._looked = second, 0
        self._looked += 1
        if (self._looked > MOST_A_SECOND and name != "urgent") or self._looked > 10 * MOST_A_SECOND:
            self.dropped += 1
            return
        said = clean(words)
        if not said:
            return
        if name == "caution":
            name = next((subject for subject, form in _SUBJECTS if form.search(words)), name)
        if self._is_known(name, words, now_us):
            return
        slot = self._slots[name]
        if self._is_free(slot, now_us) and not slot.waiting:
            self._show(slot, said, now_us, readings)
        elif len(slot.waiting) < MOST_WAITING:
            slot.waiting.append((now_us, said))

    def run(self, now_us: int, readings: Readings) -> None:
        """Say what waits for a slot that is free by now."""
        for name, slot in self._slots.items():
            while slot.waiting and self._is_free(slot, now_us):
                came_us, said = slot.waiting.popleft()
                if name == "urgent" or now_us - came_us <= _LATEST_US:
                    self._show(slot, said, now_us, readings)

    def _is_known(self, name: str, words: str, now_us: int) -> bool:
        known = self._known
        masked = f"{name} {_NUMBER.sub('#', words[:200]).lower()}"
        heard_us = known.get(masked)
        same = heard_us is not None and now_us - heard_us < SAME_US
        if not same and len(known) >= MOST_KNOWN:
            del known[min(known, key=known.__getitem__)]
        if not same or name != "urgent":
            # one that goes on is heard once; what is urgent is said again each minute
            known[masked] = now_us
        return same

    @staticmethod
    def _is_free(slot: _Slot, now_us: int) -> bool:
        return slot.shown_us is None or now_us - slot.shown_us >= _SHOWN_US + _GAP_US

    @staticmethod
    def _show(slot: _Slot, said: str, now_us: int, readings: Readings) -> None:
        slot.shown_us = now_us
        slot.stream.mark(now_us)
        readings.put(slot.index, said, slot.stream)

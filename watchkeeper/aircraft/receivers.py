"""Its satellite receivers as they last told, what they say of jamming and of false signals."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import US, Stream

_LIVE_US: Final = 5 * US
_MISSED: Final = 4
_SLOWEST_US: Final = 30 * US
MOST_RECEIVERS: Final = 4


class Receiver:
    """One receiver. None is unknown."""

    __slots__ = (
        "altitude_m", "course_deg", "dilution", "fixed", "had_fix", "height_sd_m", "latitude_deg", "longitude_deg",
        "place_sd_m", "speed_m_s", "stream", "tall_dilution", "told_us",
    )  # fmt: skip

    def __init__(self) -> None:
        self.stream = Stream()
        self.fixed: bool | None = None
        """Whether it has a position in three dimensions."""
        self.had_fix = False
        """It had one at least once in this power-up."""
        self.told_us = 0
        """The message's own time, since 1970 or since power-up."""
        self.latitude_deg = self.longitude_deg = 0.0
        self.altitude_m = 0.0
        """Above the sea."""
        self.speed_m_s: float | None = None
        self.course_deg: float | None = None
        self.dilution: float | None = None
        self.tall_dilution: float | None = None
        """Dilution of its height."""
        self.place_sd_m: float | None = None
        self.height_sd_m: float | None = None
        """Its own word for how far off it may be, one standard deviation."""

    def is_live(self, now_us: int) -> bool:
        """Whether it was heard within 5 s, or four of its intervals where it comes more seldom (30 s at most)."""
        if not self.stream.count:
            return False
        age_us = now_us - self.stream.time_us
        return age_us <= _LIVE_US or age_us <= min(_MISSED * self.stream.interval_us, _SLOWEST_US)

    def gives_place(self, now_us: int) -> bool:
        """Whether it is heard and gives a position in three dimensions."""
        return bool(self.fixed) and self.is_live(now_us)


class Receivers:
    """Both receivers of one power-up, and what receivers say of foreign signals, by receiver."""

    __slots__ = ("_told", "first", "integrity", "second")

    def __init__(self) -> None:
        self.first = Receiver()
        self.second = Receiver()
        self.integrity = Stream()
        self._told: dict[int, tuple[int, int, int]] = {}
        """When each receiver told, and its states of jamming and spoofing."""

    def take_integrity(self, receiver: int, jamming: int, spoofing: int, now_us: int) -> tuple[int, int]:
        """Take states of one receiver (GPS_JAMMING_STATE, GPS_SPOOFING_STATE); return the worst of all."""
        told = self._told
        for number in [n for n, (time_us, _, _) in told.items() if now_us - time_us > _SLOWEST_US]:
            del told[number]
        if receiver in told or len(told) < MOST_RECEIVERS:
            told[receiver] = now_us, jamming, spoofing
        return max(state[1] for state in told.values()), max(state[2] for state in told.values())

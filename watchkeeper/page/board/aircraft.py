"""One aircraft of a station as a board knows it: the last that its watch told, and what was told before."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.edges.messages.payloads import Readings
from watchkeeper.edges.messages.views import AircraftOutlook, AircraftSurroundings, Listed
from watchkeeper.picture.models import (
    AircraftPicture,
    Answer,
    History,
    Place,
    ShownAlert,
    Surroundings,
    Value,
)
from watchkeeper.picture.trail import MOST_TRACK, STIR_M, Flat, Row, Series, thin

SILENT_US: Final = 5_000_000
"""A watch that has told nothing of an aircraft for longer may tell nothing more."""
GONE_US: Final = 60_000_000
"""An aircraft of which a living watch has told nothing for so long is gone."""
SETTLED_US: Final = 3_000_000
"""By then a watch has told all that it tells once a second."""
MOST_DRAWN: Final = 8
NOWHERE: Final = Surroundings(home=None, points=[], obstacles=[], places=[], zones=[])


class BoardAircraft:
    """What has come of one aircraft. Times in microseconds of the board's own clock, when it came."""

    def __init__(self, system: int, now_us: int) -> None:
        self.system = system
        self._begun_us = now_us
        self.word_us = now_us
        """When anything of it last came."""
        self.slow: AircraftSurroundings | None = None
        self.fast: AircraftOutlook | None = None
        self.fast_us = 0
        self._readings: dict[str, Value] = {}
        self._track: list[Flat] = []
        self._series: dict[str, Series] = {}

    def begin_anew(self) -> None:
        """Forget what was before: the watch has been started anew."""
        self._track.clear()
        self._series.clear()

    def take_readings(self, readings: Readings, elapsed_s: float, now_us: int) -> None:
        """Take readings, at a time of the watch's own."""
        self.word_us = now_us
        self._readings = {name: value for name, value in readings.readings.items() if value is not None}
        for drawn in self._drawn():
            low = _number(self._readings.get(f"{drawn}_low"))
            self._series.setdefault(drawn, Series()).add(Row(elapsed_s, _number(self._readings.get(drawn)), low))

    def take_outlook(self, fast: AircraftOutlook, now_us: int) -> None:
        """Take what follows from the readings."""
        self.word_us = self.fast_us = now_us
        self.fast = fast
        if fast.place is not None and not fast.place.forecast:
            flat = (fast.place.north_m, fast.place.east_m)
            track = self._track
            if not track or max(abs(flat[0] - track[-1][0]), abs(flat[1] - track[-1][1])) >= STIR_M:
                track.append(flat)
                if len(track) > MOST_TRACK and (gone := thin(track)) is not None:
                    del track[gone]

    def listed(self) -> Sequence[Listed]:
        """Return what is told of its alerts beside their states."""
        return () if self.fast is None else self.fast.alerts

    def _drawn(self) -> list[str]:
        return [] if self.slow is None else [one.reading for one in self.slow.drawn[:MOST_DRAWN]]

    def picture(self, alerts: list[ShownAlert], now_us: int, lost: str) -> AircraftPicture:
        """Return its picture. `lost`: why its watch tells nothing any more, or ""."""
        silent_s = (now_us - self.word_us) / 1e6
        if not lost and now_us - self.word_us > SILENT_US:
            lost = f"Its watch has told nothing of it for {silent_s:.0f} s."
        fast, age_s, slow = self.fast, max(now_us - self.fast_us, 0) / 1e6, self.slow
        older = fast is None and now_us - self._begun_us > SETTLED_US
        missing = ["Its watch is of an older version: it tells a board less."] if older and not lost else []
        if slow is not None and slow.left_out:
            missing.append(f"{slow.left_out} places, areas or obstacles are too many to be shown here.")
        return AircraftPicture(
            system=self.system,
            name=slow.name if slow is not None and slow.name else f"aircraft {self.system}",
            phase=self._word("phase", "flight.phase"),
            mode=self._word("mode", "flight.mode"),
            armed=fast.armed if fast is not None else None,
            heard_s=None if fast is None or fast.heard_s is None else round(fast.heard_s + age_s, 1),
            answer=self._answer(lost, age_s),
            alerts=alerts,
            blind=[*([lost] if lost else []), *missing, *(fast.blind if fast is not None and not lost else [])],
            place=self._place(age_s),
            track=[*self._track],
            reach_m=[] if slow is None or lost else slow.reach_m,
            wind_speed_m_s=None if fast is None or lost else fast.wind_speed_m_s,
            wind_from_deg=None if fast is None or lost else fast.wind_from_deg,
            surroundings=NOWHERE if slow is None else slow.surroundings,
            histories=self._histories(),
            readings={} if lost else self._readings,
            waits=[lost] if lost else [] if fast is None else fast.waits,
            checklist=[] if fast is None else fast.checklist,
            roles=[] if fast is None else fast.roles,
        )

    def _word(self, field: str, reading: str) -> str | None:
        value = getattr(self.fast, field) if self.fast is not None else self._readings.get(reading)
        return value if isinstance(value, str) else None

    def _answer(self, lost: str, age_s: float) -> Answer:
        told = None if self.fast is None or lost else self.fast.answer
        if told is not None:
            left_s = told.turn_back_in_s
            return told if left_s is None else told.model_copy(update={"turn_back_in_s": round(left_s - age_s, 1)})
        known = {} if lost else self._readings

        def number(name: str) -> float | None:
            return _number(known.get(name))

        return Answer(
            standing="unknown",
            words=lost or "Not told.",
            reserve_pct=number("return.reserve"),
            reserve_low_pct=number("return.reserve_low"),
            floor_pct=None,
            turn_back_in_s=number("return.turn_back_in"),
            turn_back_before=None,
            time_home_s=number("return.time"),
            distance_m=number("position.home_distance"),
            bearing_deg=number("position.home_bearing"),
            nearest=None,
        )

    def _place(self, age_s: float) -> Place | None:
        if self.fast is None or self.fast.place is None:
            return None
        place = self.fast.place
        return place.model_copy(update={"age_s": round(place.age_s + age_s, 1)})

    def _histories(self) -> list[History]:
        found = []
        for drawn in [] if self.slow is None else self.slow.drawn[:MOST_DRAWN]:
            rows = self._series[drawn.reading].rows() if drawn.reading in self._series else []
            low = [(row.time_s, row.low) for row in rows]
            found.append(
                History(
                    reading=drawn.reading,
                    words=drawn.words,
                    unit=drawn.unit,
                    points=[(row.time_s, row.value) for row in rows],
                    low=low if any(value is not None for _, value in low) else [],
                    limits=drawn.limits,
                )
            )
        return found


def _number(value: Value) -> float | None:
    return float(value) if isinstance(value, float | int) and not isinstance(value, bool) else None

"""What part of a flight an aircraft is in: a table first.

Each sign in the table is a function of what was last seen. The landed state is taken from EXTENDED_SYS_STATE where
it is sent, else inferred from height, climb, speed and throttle; what is inferred has to hold for a while before
the phase follows, by the times of the samples.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from typing import ClassVar, Final

from watchkeeper.aircraft.readings import US
from watchkeeper.aircraft.seen import IN_AIR, ON_GROUND, TAKING_OFF, UNDEFINED, Seen
from watchkeeper.aircraft.upset import DRIFT_M, HIGH_M, SURE_US, Upset

TRANSITIONS: Final[Mapping[str | None, tuple[tuple[str, str], ...]]] = {
    None: (
        ("disarmed in the air", "airborne"),
        ("disarmed", "on_ground"),
        ("flies already", "airborne"),
        ("armed on the ground", "armed"),
    ),
    "on_ground": (("armed", "armed"),),
    "armed": (("disarmed", "on_ground"), ("lifted", "taking_off")),
    "taking_off": (("down", "landed"), ("climbed", "airborne")),
    "airborne": (("down", "landed"), ("lands", "landing"), ("returns", "returning")),
    "returning": (
        ("down", "landed"),
        ("lands", "landing"),
        ("return ended", "airborne"),
        ("sinks home", "landing"),
    ),
    "landing": (("down", "landed"), ("return resumed", "returning"), ("landing ended", "airborne")),
    "landed": (("armed anew", "armed"), ("lifted", "airborne")),
}
"""From a phase, the first sign that is seen leads to the next; then the next is looked at in the same way."""

LIFT_M: Final = 1.5
"""Higher than this over the place of arming it flies: above the drift of a barometer in a minute or two."""
HOVER_M: Final = 0.5
HOVER_US: Final = 1 * US
HOVER_PCT: Final = 25
"""So much throttle for a second and off the ground by half a metre is a low hover, not an idle run."""
CLIMBED_M: Final = 5.0
"""The take-off ends at this height, about the usual first hover of 10 to 15 ft (common practice)."""
TAKE_OFF_US: Final = 20 * US
"""Longer in a low hover is a flight."""
LIGHT_PCT: Final = 10
IDLE_PCT: Final = 5
LIGHT_US: Final = 1_500_000
IDLE_US: Final = 1 * US
FALL_M_S: Final = 1.0
"""On so light a throttle an aircraft in the air falls, 15 m/s after 1.5 s; sinking slower than this, it stands."""
STILL_US: Final = 2 * US
SETTLED_US: Final = US
"""A landing that stands this long on little throttle is over: some autopilots disarm 2 s after touching."""
EASED: Final = 0.9
"""Throttle that has come down to this part of what a slow descent took: in the air it would fall, so it stands.

What it took is the least of its last `SLOW_SINK_US`, if it lasted for `STEADY_US`: a fast descent through its own
wash takes more than a hover, and so does stopping one. For `EASING_US` only: a load may be put down in a hover.
"""
STEADY_US: Final = 1 * US
SLOW_SINK_M_S: Final = 1.8
"""Landings are set to 1 m/s (common practice), some to 1.5, and are a tenth faster. A quarter of a heavy
multirotor's downwash (7 m/s by momentum theory: 35 kg on six rotors of 0.76 m) is far from where sinking takes
more power."""
SLOW_SINK_US: Final = 1_500_000
EASING_US: Final = 6 * US
STILL_CLIMB_M_S: Final = 0.3
STILL_SPEED_M_S: Final = 0.6
LOW_M: Final = 1.0
WEATHER_M_S: Final = 10.0 / 3600.0
"""By so much more a barometer may be off the longer it flies: pressure that falls quickly falls by 3.5 hPa in
three hours at most (marine forecasts' terms, from memory), of 8.4 m each (ISO 2533)."""
RESTARTED_M: Final = 10.0
"""An autopilot that starts in the air has its height of satellites, whose altitude is off by about that (95 %,
common practice)."""
SETTLE_M: Final = 20.0
"""Home set anew moves the height by what a barometer drifts on the ground, hardly by more."""
SETTLE_US: Final = 3 * US
"""Autopilots set home when they arm, and the height over it jumps."""
NEAR_GROUND_M: Final = 3.0
SINK_M_S: Final = -0.25
SLOW_M_S: Final = 1.5
NEAR_HOME_M: Final = 25.0
SINK_US: Final = 1 * US
RISE_US: Final = 2 * US
UNSEEN_US: Final = 5 * US
"""Heights and speeds older than this are not used."""
FRESH_US: Final = 2 * US
"""A height older than this does not tell where it was disarmed; the next one has to."""
UNTOLD_US: Final = 15 * US
"""Armed for so long with nothing that tells whether it flies, it counts as flying."""


class PhaseTracker:
    """Follows the phase of one power-up. `phase` is None until it can be known."""

    __slots__ = (
        "_altitude_m", "_armed_us", "_asked", "_cut_us", "_ground_m", "_high", "_hover_us", "_landed_armed",
        "_light_us", "_off_us", "_restarted_m", "_rise_us", "_seen", "_sink_us", "_sinking", "_still_us",
        "_told_us", "now_us", "phase", "upset",
    )  # fmt: skip

    def __init__(self, seen: Seen) -> None:
        self.phase: str | None = None
        self.now_us = 0
        self._seen = seen
        self.upset = Upset()
        self._ground_m = 0.0
        self._altitude_m: float | None = None
        self._high = False
        self._asked = False
        self._landed_armed = False
        self._armed_us = 0
        self._off_us = 0
        self._restarted_m = 0.0
        self._told_us: int | None = None
        self._still_us: int | None = None
        self._sinking: deque[tuple[int, float]] = deque()
        """Times and throttles of its last slow sinking."""
        self._cut_us: int | None = None
        self._light_us: int | None = None
        self._hover_us: int | None = None
        self._sink_us: int | None = None
        self._rise_us: int | None = None

    def update(self, now_us: int) -> str | None:
        """Judge what was seen up to now; return the phase."""
        self.now_us = now_us
        seen = self._seen
        if now_us - seen.motion_us > UNSEEN_US:
            seen.height_m = seen.climb_m_s = seen.speed_m_s = seen.throttle_pct = None
        height_m = seen.height_m
        if self.phase in DOWN and height_m is not None and (not seen.armed or self._settles(seen)):
            self._stands_at(height_m, seen)
        self._time_signs(seen)
        self._watch_the_air(seen)
        for _ in TRANSITIONS:  # more steps at once than phases would be a circle
            following = self._following(seen)
            if following is None:
                break
            self._enter(following, seen)
        if self.phase in DOWN:
            self._landed_armed = self._landed_armed and bool(seen.armed)
        return self.phase

    def _settles(self, seen: Seen) -> bool:
        """Whether a change of height just after arming is home being set anew, not a take-off."""
        climb_m_s, idles = seen.climb_m_s or 0.0, seen.throttle_pct is None or seen.throttle_pct < HOVER_PCT
        still = -STILL_CLIMB_M_S <= climb_m_s <= STILL_CLIMB_M_S
        ground_m, height_m = self._ground_m, seen.height_m
        near = ground_m is None or height_m is None or abs(height_m - ground_m) < SETTLE_M
        return self.phase == "armed" and idles and still and near and self.now_us - self._armed_us < SETTLE_US

    def _following(self, seen: Seen) -> str | None:
        for sign, following in _STEPS[self.phase]:
            if sign(self, seen):
                return following
        return None

    def _enter(self, phase: str, seen: Seen) -> None:
        if phase == "taking_off" or (self.phase == "landed" and phase == "airborne"):
            self._off_us = self.now_us
        elif phase == "armed":
            self._armed_us = self.now_us
        if phase in DOWN and (self.phase is not None or not seen.armed):
            self._stands_at(seen.height_m if seen.height_m is not None else self._ground_m, seen)
        if phase == "landed":
            self.upset.end()
            self._landed_armed = bool(seen.armed)
            self._hover_us = None
            self._restarted_m = 0.0  # it stands on the ground, whose height is known again
        self.phase = phase

    def carry_on(self, before: PhaseTracker) -> None:
        """Take over a flight in which the aircraft was started anew."""
        if not before.upset.stands:
            before.begin_upset()
        self.upset.carry(before.upset)
        self._off_us = before._off_us
        self._restarted_m = RESTARTED_M
        self.phase = "airborne"

    def begin_upset(self) -> None:
        """Begin to look for a landing on the place it took off from."""
        base_m = self._seen.base_m
        taken_off_m = base_m + self._ground_m if base_m is not None else None
        self.upset.begin(self._ground_m, self._altitude_m if self._altitude_m is not None else taken_off_m)

    def _stands_at(self, height_m: float, seen: Seen) -> None:
        self._ground_m = height_m
        self._altitude_m = seen.base_m + height_m if seen.base_m is not None else None

    def _watch_the_air(self, seen: Seen) -> None:
        """Tell a disarming in the air from one after a landing; look for the landing after it."""
        upset = self.upset
        if self.phase not in FLYING:
            self._high = self._asked = False
            return
        above_m = self.above_m if not upset.stands else upset.above_m(seen)
        if seen.armed:
            upset.disarmed = self._asked = False
            if above_m is not None:
                self._high = above_m > HIGH_M
        elif self._to_be_asked(seen) and above_m is not None:
            self._asked = True
            throttle = seen.throttle_pct
            eased = throttle is not None and self._eased(throttle)
            hovered = throttle is not None and throttle >= HOVER_PCT and not eased
            settled_us = SETTLED_US if seen.lands and throttle is not None else STILL_US
            drift_m = DRIFT_M if throttle is None else DRIFT_M + WEATHER_M_S * self._flown_s + self._restarted_m
            stood = above_m < drift_m and self._held(self._still_us, settled_us) and not hovered
            if above_m > HIGH_M and not stood and seen.landed != ON_GROUND:
                if not upset.stands:
                    self.begin_upset()
                upset.disarmed = True
        if upset.stands:
            upset.look(seen, still=self._still_us is not None)

    @property
    def _flown_s(self) -> float:
        """How long it has been in the air; 0 where its take-off was not seen."""
        return (self.now_us - self._off_us) / US if self._off_us else 0.0

    def _eased(self, throttle_pct: float) -> bool:
        """Whether the throttle has come down since it sank, as on the ground only."""
        if not self._sinking:
            return False
        first_us, last_us = self._sinking[0][0], self._sinking[-1][0]
        if last_us - first_us < STEADY_US or self._seen.motion_us - last_us > EASING_US:
            return False
        return throttle_pct <= EASED * min(pct for _, pct in self._sinking)

    def _to_be_asked(self, seen: Seen) -> bool:
        """Whether it was disarmed and a height at the disarming has come."""
        fresh = self.now_us - seen.motion_us <= FRESH_US
        return seen.armed is False and fresh and not self._asked and not self.upset.disarmed

    def _time_signs(self, seen: Seen) -> None:
        """Note since which sample each sign that needs time has held."""
        self._told_us = (self._told_us or self.now_us) if seen.landed == ON_GROUND else None
        now_us = seen.motion_us
        climb, speed, throttle = seen.climb_m_s, seen.speed_m_s, seen.throttle_pct
        if climb is None:
            self._still_us = self._light_us = self._sink_us = self._rise_us = None
        else:
            slow = speed is None or speed < SLOW_M_S
            still = -STILL_CLIMB_M_S <= climb <= STILL_CLIMB_M_S and (speed is None or speed < STILL_SPEED_M_S)
            light = throttle is not None and throttle < LIGHT_PCT and -FALL_M_S < climb < FALL_M_S and slow
            if not still:
                if throttle is None or not -SLOW_SINK_M_S <= climb < -STILL_CLIMB_M_S:
                    self._sinking.clear()
                else:
                    self._sinking.append((now_us, throttle))
                    while now_us - self._sinking[0][0] > SLOW_SINK_US:
                        self._sinking.popleft()
            self._still_us = (self._still_us or now_us) if still else None
            self._light_us = (self._light_us or now_us) if light else None
            self._sink_us = (self._sink_us or now_us) if climb < SINK_M_S and slow else None
            self._rise_us = (self._rise_us or now_us) if climb > -SINK_M_S or not slow else None
        self._cut_us = None if seen.armed else self._cut_us or now_us
        above_m = self.above_m
        hovers = throttle is not None and throttle >= HOVER_PCT and (above_m is None or above_m > HOVER_M)
        self._hover_us = (self._hover_us or now_us) if hovers else None

    @property
    def above_m(self) -> float | None:
        """Height over the place where it last stood, m."""
        height_m = self._seen.height_m
        return None if height_m is None else height_m - self._ground_m

    def _held(self, since_us: int | None, least_us: int) -> bool:
        # from sample to sample: one that is merely old has not held
        return since_us is not None and self._seen.motion_us - since_us >= least_us

    def _lifted(self, seen: Seen) -> bool:
        if not seen.armed:
            return False
        if seen.landed != UNDEFINED:
            return seen.landed != ON_GROUND
        above_m, throttle = self.above_m, seen.throttle_pct
        if above_m is None and throttle is None:
            return self.now_us - max(self._armed_us, seen.motion_us) >= UNTOLD_US
        if throttle is not None and throttle < IDLE_PCT:
            return False
        return (above_m is not None and above_m > LIFT_M) or self._held(self._hover_us, HOVER_US)

    def _down(self, seen: Seen) -> bool:
        if self.upset.stands:
            return self.upset.has_landed(seen)
        if seen.armed is False and self._high and not self._asked:
            return False  # high when last seen, and no height since it was disarmed
        above_m = self.above_m
        if seen.landed != UNDEFINED:
            # high up it may be the first word after a start in flight, which shows within three seconds
            since_us = self._told_us
            high = above_m is not None and above_m > DRIFT_M
            return since_us is not None and (not high or self.now_us - since_us >= SURE_US)
        still = self._held(self._still_us, STILL_US)
        if not seen.armed:  # in the air, disarmed, it falls: no landing before it lies still
            return (still and self._held(self._cut_us, STILL_US)) or above_m is None or above_m < NEAR_GROUND_M
        low = above_m is None or above_m < LOW_M
        if seen.throttle_pct is None:
            return still and low
        near = above_m is None or above_m < NEAR_GROUND_M
        idle = seen.throttle_pct < IDLE_PCT
        if self._held(self._light_us, IDLE_US if idle else LIGHT_US) and (near or idle):
            return True
        return still and near and seen.mode == "land"

    def _flies_already(self, seen: Seen) -> bool:
        if not seen.armed:
            return False
        if seen.landed != UNDEFINED:
            return seen.landed != ON_GROUND
        if seen.height_m is None:
            return False
        if seen.throttle_pct is not None and seen.throttle_pct < IDLE_PCT:
            return seen.height_m > NEAR_GROUND_M
        return seen.height_m > LIFT_M or (seen.speed_m_s or 0.0) > 2 * SLOW_M_S

    def _armed_on_the_ground(self, seen: Seen) -> bool:
        # unknown counts as in flight, so it stays unknown until a height is seen
        return seen.armed is True and (seen.landed == ON_GROUND or seen.height_m is not None)

    def _climbed(self, seen: Seen) -> bool:
        if seen.landed not in (UNDEFINED, TAKING_OFF) or seen.lands or seen.returns:
            return True
        above_m = self.above_m
        return (above_m is not None and above_m >= CLIMBED_M) or self.now_us - self._off_us >= TAKE_OFF_US

    def _sinks_home(self, seen: Seen) -> bool:
        near = seen.home_m is None or seen.home_m < NEAR_HOME_M
        return near and self._held(self._sink_us, SINK_US)

    def _return_resumed(self, seen: Seen) -> bool:
        return seen.returns and not seen.lands and self._held(self._rise_us, RISE_US)

    SIGNS: ClassVar[Mapping[str, Callable[[PhaseTracker, Seen], bool]]] = {
        "armed": lambda _, seen: seen.armed is True,
        "disarmed": lambda _, seen: seen.armed is False,
        "disarmed in the air": lambda _, seen: (
            seen.armed is False and seen.landed == IN_AIR and (seen.height_m or 0.0) > NEAR_GROUND_M
        ),
        "flies already": _flies_already,
        "armed on the ground": _armed_on_the_ground,
        "lifted": _lifted,
        "climbed": _climbed,
        "down": _down,
        "lands": lambda _, seen: seen.lands,
        "returns": lambda _, seen: seen.returns,
        "return ended": lambda _, seen: not seen.returns,
        "sinks home": _sinks_home,
        "return resumed": _return_resumed,
        "landing ended": lambda _, seen: not seen.lands and not seen.returns and seen.armed is not False,
        "armed anew": lambda self, seen: bool(seen.armed) and not self._landed_armed,
    }


_STEPS: Final = {
    phase: tuple((PhaseTracker.SIGNS[sign], following) for sign, following in rows)
    for phase, rows in TRANSITIONS.items()
}
DOWN: Final = frozenset({"on_ground", "armed", "landed"})
"""Phases that are not in flight."""
FLYING: Final = frozenset({"taking_off", "airborne", "returning", "landing"})

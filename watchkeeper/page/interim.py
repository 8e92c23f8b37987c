"""A plain picture of a watch: its alerts, and nothing else."""

from __future__ import annotations

from collections.abc import Callable

from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.edges.clock import utc_text
from watchkeeper.engine import Engine
from watchkeeper.picture.models import AircraftPicture, Answer, ShownAlert, StationPicture, Surroundings

NO_ANSWER = Answer(
    standing="unknown", words="", reserve_pct=None, reserve_low_pct=None, floor_pct=None, turn_back_in_s=None,
    turn_back_before=None, time_home_s=None, distance_m=None, bearing_deg=None, nearest=None,
)  # fmt: skip
NOWHERE = Surroundings(home=None, points=[], obstacles=[], places=[], zones=[])


class PlainScene:
    """Pictures of one engine."""

    def __init__(self, engine: Engine, clock: Callable[[], int], station: str, *, exercise: bool) -> None:
        self._engine = engine
        self._clock = clock
        self._station = station
        self._exercise = exercise
        self._since = utc_text(clock())

    def pictures(self) -> list[StationPicture]:
        """Return the one picture."""
        alerts = self._engine.alerts()
        return [
            StationPicture(
                station=self._station, exercise=self._exercise, state="watching", since=self._since,
                time=utc_text(self._clock()), elapsed_s=self._engine.elapsed_s,
                alerts=[_shown(alert) for alert in alerts if alert.aircraft is None],
                aircraft=[self._aircraft(system, alerts) for system in self._engine.systems()],
                said=[], hearing={},
            )
        ]  # fmt: skip

    def _aircraft(self, system: int, alerts: list[Alert]) -> AircraftPicture:
        readings = self._engine.readings(system)
        phase, mode, armed = readings["flight.phase"], readings["flight.mode"], readings["flight.armed"]
        return AircraftPicture(
            system=system, name=f"aircraft {system}", phase=None if phase is None else str(phase),
            mode=None if mode is None else str(mode), armed=None if armed is None else bool(armed), heard_s=None,
            answer=NO_ANSWER, alerts=[_shown(alert) for alert in alerts if alert.aircraft == system], blind=[],
            place=None, track=[], reach_m=[], wind_speed_m_s=None, wind_from_deg=None, surroundings=NOWHERE,
            histories=[], readings=readings, waits=[*self._engine.reasons(system)], checklist=[], roles=[],
        )  # fmt: skip


def _shown(alert: Alert) -> ShownAlert:
    return ShownAlert(
        aircraft=alert.aircraft, rule=alert.rule, level=alert.level, state=alert.state,
        since=utc_text(alert.raised_us), callout=alert.callout or alert.rule, reason=alert.reason,
        evidence=dict(alert.evidence), stale=alert.stale, over=not alert.stands,
        acknowledged_by=sorted(alert.roles),
    )  # fmt: skip

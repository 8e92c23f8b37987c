"""The aircraft's own settings as its estimates want them: read anew when its parameters change."""

from __future__ import annotations

from typing import Final, Protocol

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.estimate.home.returnplan import ReturnPlan, of_file, of_settings

_MULTIROTORS: Final = frozenset(
    {
        dialect.MAV_TYPE_GENERIC,  # says nothing
        dialect.MAV_TYPE_QUADROTOR,
        dialect.MAV_TYPE_COAXIAL,
        dialect.MAV_TYPE_HEXAROTOR,
        dialect.MAV_TYPE_OCTOROTOR,
        dialect.MAV_TYPE_TRICOPTER,
        dialect.MAV_TYPE_DODECAROTOR,
        dialect.MAV_TYPE_DECAROTOR,
        dialect.MAV_TYPE_GENERIC_MULTIROTOR,
    }
)


def is_multirotor(vehicle: int, file: AircraftFile | None) -> bool:
    """Whether an aircraft is one, by its file's kind if that is stated, else by MAV_TYPE."""
    if file is not None and "kind" in file.model_fields_set:
        return file.kind == "multirotor"
    return vehicle in _MULTIROTORS


class Configured(Protocol):
    """What is asked of an aircraft."""

    @property
    def file(self) -> AircraftFile | None:
        """The aircraft's file."""

    @property
    def parameters(self) -> Parameters:
        """Its parameters seen so far."""

    @property
    def autopilot(self) -> int:
        """MAV_AUTOPILOT."""

    @property
    def vehicle(self) -> int:
        """MAV_TYPE."""


class OwnSettings:
    """Settings and return plan of one aircraft."""

    def __init__(self, aircraft: Configured) -> None:
        self._aircraft = aircraft
        self._seen: tuple[int, int, int, int] | None = None
        self._file_plan = of_file(aircraft.file if aircraft.file is not None else AircraftFile())
        self._plan = self._file_plan
        self._settings: Settings | None = None

    def _read(self) -> None:
        aircraft = self._aircraft
        parameters = aircraft.parameters
        seen = (id(parameters), parameters.changes, aircraft.autopilot, aircraft.vehicle)
        if seen == self._seen:
            return
        self._seen = seen
        if not parameters.values:
            self._settings, self._plan = None, self._file_plan
            return
        self._settings = read_settings(
            aircraft.autopilot,
            parameters.version,
            parameters.values,
            vehicle=aircraft.vehicle,
            complete=parameters.complete,
        )
        self._plan = of_settings(self._settings, self._file_plan)

    def settings(self) -> Settings | None:
        """Return what is understood of its parameters; None before any was seen."""
        self._read()
        return self._settings

    def plan(self) -> ReturnPlan:
        """Return its return as far as that is known, with the file and defaults for the rest."""
        self._read()
        return self._plan

"""One aircraft's log to the figures over time that a report shows, or to why there is none."""

from __future__ import annotations

from typing import Final, Literal

from watchkeeper.debrief.collect import AircraftLog
from watchkeeper.debrief.findings import Curve, Figure, Limit, Panel, Point
from watchkeeper.debrief.thresholds import CELL_V

LEAST_RESERVE_PCT: Final = 20.0
"""Of usable charge, kept at landing unless the sortie says more."""
_Line = Literal["main", "second", "third"]


def figures(log: AircraftLog, reserve_pct: float | None, why: str) -> tuple[Figure, ...]:
    """Return the figures of an aircraft. `reserve_pct` is the sortie's; `why` nothing is said of getting home."""
    floor = Limit(max(LEAST_RESERVE_PCT, reserve_pct or 0.0), "reserve to be kept")
    return (
        _reserve(log, floor, why),
        _energy(log, why),
        _battery(log),
        _link(log),
        _satellites(log),
        _wind(log),
        _where(log),
    )


def _curve(log: AircraftLog, name: str, words: str, unit: str, line: _Line = "main", scale: float = 1.0) -> Curve:
    points = log.traces[name].points()
    if scale != 1.0:
        points = tuple((at_s, None if value is None else value * scale) for at_s, value in points)
    return Curve(name, words, unit, points, line=line)


def _panel(
    title: str, unit: str, curves: tuple[Curve, ...], why: str, *limits: Limit, from_zero: bool = True
) -> Panel:
    known = tuple(curve for curve in curves if curve.points)
    return Panel(title, unit, known, limits if known else (), from_zero, "" if known else why)


def _reserve(log: AircraftLog, floor: Limit, why: str) -> Figure:
    expected = _curve(log, "return.reserve", "charge expected at landing at home", "%")
    low = log.traces["return.reserve_low"].points()
    reserve = Curve(expected.name, expected.words, "%", _within(expected.points), _within(low))
    charge = _curve(log, "battery.charge_left", "charge left now", "%", "second")
    gauge = _curve(log, "battery.gauge_left", "the aircraft's own gauge", "%", "third")
    charges = tuple(curve for curve in (reserve, charge, gauge) if curve.points)
    panel = _panel("Charge", "%", charges, f"No charge and no reserve: {why}.", floor)
    note = "The shaded band reaches down to the lower bound: one landing in twenty is expected below it."
    if not reserve.points:
        note = f"No expected charge at landing is drawn: {why}." if charges else ""
    return Figure("reserve", "Reserve at landing", (panel,), note)


def _within(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Charge that is out of all bounds stands for "cannot be reached": it is drawn at the edge."""
    return tuple((at_s, None if value is None else max(-20.0, min(110.0, value))) for at_s, value in points)


def _energy(log: AircraftLog, why: str) -> Figure:
    used = Curve("energy used", "used since take-off", "Wh", log.used.points())
    needed = Curve(
        "energy needed", "used until landing, if it turned back then", "Wh", log.needed.points(), line="second"
    )
    curves = tuple(curve for curve in (used, needed) if curve.points)
    panel = _panel(
        "Energy", "Wh", curves, "No energy: no power was told in flight (voltage and current of all packs)."
    )
    note = (
        "From the turn-back on, the upper line is a forecast of one and the same thing: level if it was right."
        if needed.points
        else f"No forecast is drawn: {why}."
        if used.points
        else ""
    )
    return Figure("energy", "Energy used against forecast", (panel,), note)


def _battery(log: AircraftLog) -> Figure:
    cell = _curve(log, "battery.cell_voltage", "as measured, the worst pack", "V")
    rest = _curve(log, "battery.rest_cell_voltage", "resting: without the load's drop", "V", "second")
    if cell.points or rest.points:
        volts = _panel("Voltage a cell", "V", (cell, rest), "", Limit(CELL_V, "3.5 V, customary"), from_zero=False)
    else:
        pack = _curve(log, "battery.voltage", "of the pack; its cells are not known", "V")
        volts = _panel(
            "Voltage", "V", (pack,), "No voltage: none was told, or none that was measured.", from_zero=False
        )
    ohm = _curve(log, "battery.resistance", "of the whole pack, as learned", "mohm", scale=1000.0)
    why = "No resistance: current or voltage did not change enough to learn it from, or was not told."
    return Figure("battery", "Voltage and resistance", (volts, _panel("Resistance", "mΩ", (ohm,), why)))


def _link(log: AircraftLog) -> Figure:
    margin = _curve(log, "link.margin", "signal over noise, the weaker end", "dB")
    loss = _curve(log, "link.loss", "frames lost, over ten seconds", "%")
    return Figure(
        "link",
        "Link",
        (
            _panel(
                "Margin", "dB", (margin,), "No margin: no radio report of the aircraft's link in the recording."
            ),
            _panel("Loss", "%", (loss,), "No loss: too few frames to count."),
        ),
    )


def _satellites(log: AircraftLog) -> Figure:
    used = _curve(log, "satellites.used", "used", "")
    hdop = _curve(log, "satellites.hdop", "horizontal dilution of precision", "")
    return Figure(
        "satellites",
        "Satellites",
        (
            _panel("Satellites", "", (used,), "No number of satellites was told."),
            _panel("Dilution", "", (hdop,), "No dilution was told."),
        ),
    )


def _wind(log: AircraftLog) -> Figure:
    speed = _curve(log, "wind.speed", "mean", "m/s")
    gust = _curve(log, "wind.gust", "highest three seconds of the last ten minutes", "m/s", "second")
    why = "No wind: none was told, and it could not be worked out of attitude and motion."
    return Figure("wind", "Wind", (_panel("Wind", "m/s", (speed, gust), why),))


def _where(log: AircraftLog) -> Figure:
    height = _curve(log, "position.height", "above home", "m")
    distance = _curve(log, "position.home_distance", "from home", "m")
    return Figure(
        "where",
        "Height and distance",
        (
            _panel("Height", "m", (height,), "No height was told."),
            _panel("Distance", "m", (distance,), "No distance: the place or home was not known."),
        ),
    )

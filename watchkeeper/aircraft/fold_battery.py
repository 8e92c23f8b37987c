"""Batteries: SYS_STATUS, BATTERY_STATUS."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from watchkeeper.aircraft.control import TOLD
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.health import HEALTH
from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.pack import Sample
from watchkeeper.aircraft.packs import TOUCHED
from watchkeeper.aircraft.smartbattery import smart_battery
from watchkeeper.aircraft.state import Aircraft

FLIGHT_FUNCTIONS: Final = frozenset({0, 1, 2})
"""MAV_BATTERY_FUNCTION: unknown, all, propulsion. Avionics and payload batteries are none of the flight's."""
_ABSENT_MV: Final = 65535
_FULL_MV: Final = 65534
"""A field of voltages[] can hold no more; what is above goes on in the next."""
_HIGHEST_CELL_MV: Final = 6000
"""Above any cell: then the first field is the pack's voltage, its cells unknown."""
_UNKNOWN_CA: Final = -1
_MOST_CA: Final = 32767
"""The field ends at 327.67 A: at that value the current may be any above, and is not known."""
_UNKNOWN_CDEGC: Final = 32767


@folds(1, *TOLD, also=TOUCHED | HEALTH)
def _system_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.health.take(aircraft.readings, values, now_us)
    millivolts, centiamps, left = values[4], values[5], values[12]
    sample = Sample(
        None if millivolts in {0, _ABSENT_MV} else millivolts / 1000,
        _amps(centiamps),
        _percent(left),
    )
    aircraft.packs.system_status(sample, bool(aircraft.seen.armed), aircraft.flying, now_us)
    aircraft.control.system_status(aircraft.readings, values[0], values[1], values[2], now_us)


@folds(147, also=TOUCHED)
def _battery_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    fold_battery(aircraft, aircraft.component, values, now_us)


def fold_battery(aircraft: Aircraft, component: int, values: tuple[Any, ...], now_us: int) -> None:
    """Fold BATTERY_STATUS, which smart batteries send as components of their own."""
    if values[15] not in FLIGHT_FUNCTIONS:
        return
    consumed, temperature, left = values[0], values[2], values[17]
    pack_v, cells_v = voltages(values[3:13], values[20:24])
    sample = Sample(
        pack_v,
        _amps(values[13]),
        _percent(left),
        None if consumed < 0 else consumed / 1000,
        None if temperature == _UNKNOWN_CDEGC else temperature / 100,
        cells_v,
        values[19],
        values[25],
    )
    armed = bool(aircraft.seen.armed)
    aircraft.packs.battery_status(component, values[14], sample, armed, aircraft.flying, now_us)


@folds(370)
def _smart_battery(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    if values[8] in FLIGHT_FUNCTIONS:
        aircraft.packs.take_smart(aircraft.component, values[7], smart_battery(values))


@hears(370)
def _smart_component(heard: Heard) -> Sequence[Aircraft]:
    owner = heard.aircraft.get(heard.system)
    if owner is not None and heard.values[8] in FLIGHT_FUNCTIONS:
        owner.packs.take_smart(heard.component, heard.values[7], smart_battery(heard.values))
    return ()


def fold_gauge(aircraft: Aircraft, left: int, now_us: int) -> None:
    """Fold a gauge that comes without a voltage (HIGH_LATENCY2)."""
    gauge_pct = _percent(left)
    if gauge_pct is not None:
        aircraft.packs.gauge(gauge_pct, bool(aircraft.seen.armed), aircraft.flying, now_us)


def _amps(centiamps: int) -> float | None:
    return None if centiamps in {_UNKNOWN_CA, _MOST_CA} else centiamps / 100


def _percent(left: int) -> float | None:
    return float(left) if 0 <= left <= 100 else None


def voltages(first: Sequence[int], more: Sequence[int]) -> tuple[float | None, tuple[float, ...]]:
    """Return (pack, cells) in volts, from millivolts of ten cells and of four more.

    Cells 1 to 10 are absent at 65535, cells 11 to 14 at 0; some senders leave zeros behind the last cell too.
    Before cells 11 and on they are cells of 0 V.
    With cells unknown the first field holds the pack's voltage, and what exceeds 65 534 mV goes on in the next.
    """
    count = len(first)
    while count and not any(more) and first[count - 1] in {0, _ABSENT_MV}:
        count -= 1
    if not count or first[0] == _ABSENT_MV:
        return None, ()
    if count == 1 or (first[0] > _HIGHEST_CELL_MV and (count == 2 or first[0] >= _FULL_MV)):
        total_mv = 0
        for millivolts in first[:count]:
            total_mv += millivolts
            if millivolts < _FULL_MV:
                break
        return total_mv / 1000, ()
    cells_mv = [v for v in first[:count] if v != _ABSENT_MV]
    if count == len(first):
        cells_mv += [v for v in more if v not in {0, _ABSENT_MV}]
    return sum(cells_mv) / 1000, tuple(v / 1000 for v in cells_mv)

"""The batteries: each pack, the worst of them, and what those on one bus tell of each other.

Packs are those that the aircraft folds as `battery.1.…` to `battery.8.…`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX, MAX_PACKS, PHASE_GROUPS, pack_index
from watchkeeper.aircraft.files import AircraftFile, Packs
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.packs.busvolts import BusVolts
from watchkeeper.estimate.packs.carrying import Carrying
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.onebus import OnBus, lean
from watchkeeper.estimate.packs.pack import PackEstimate, number
from watchkeeper.estimate.packs.packseen import PackSeen, pack_seen
from watchkeeper.estimate.packs.packtoday import FittedPack, at_monitor

NAMES: Final = ("charge_left", "rest_cell_voltage", "resistance", "sag", "time_left")
OVER_ALL: Final = (
    "packs_out", "gauge_off", "share_spread", "charge_spread", "temperature_spread", "current_wrong",
)  # fmt: skip
_WORST: Final[tuple[Callable[[list[float]], float], ...]] = (min, min, max, max, min)
_LEAST_MEAN_A: Final = 5.0  # below this offsets of the sensors decide
_CARRIES: Final = 0.2
"""Of what the pack gives that gives most: below, it is not taken to carry its part."""
_ALONE_S: Final = 30.0
_JOINS_S: Final = 60.0
"""For so long a pack that has begun to carry stands alone, and so long it takes until it counts in full."""
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]


class Supply(NamedTuple):
    """One pack as a forecast sees it: what it holds, and its part.

    `doubtful` gives one state for each independent error, worked out as they now are: ask at once or not at all.
    `share` is the part (0 to 1) of the whole power that it gives; `empty` the charge that is not usable.
    """

    state: PackState
    doubtful: Callable[[], list[PackState]]
    share: float
    empty: float
    floor_v: float
    mean_power_w: float


def whole_pack(packs: Packs) -> Packs:
    """Return all packs as the one that a monitor of the whole sees: capacities add, or in series cells."""
    count, ohm = packs.count, packs.resistance_ohm
    if packs.topology == "series":
        more: dict[str, float | None] = {
            "cells": packs.cells * count if packs.cells is not None else None,
            "resistance_ohm": ohm * count if ohm is not None else None,
        }
    else:
        more = {
            "capacity_ah": packs.capacity_ah * count if packs.capacity_ah is not None else None,
            "resistance_ohm": ohm / count if ohm is not None else None,
        }
    return packs.model_copy(update={**more, "count": 1})


def whole_today(each: Packs, fitted: Sequence[Packs]) -> Packs:
    """Return the fitted packs as the one that a monitor of the whole sees.

    What was seen counts where it is known of all, with the doubt of the most doubtful; a pack alone is itself.
    """
    if not fitted:
        return whole_pack(each)
    if each.count == 1:
        return fitted[0]
    known = [one for one in fitted if isinstance(one, FittedPack)]
    whole = FittedPack().model_copy(update=dict(whole_pack(each)))
    if len(known) < each.count:
        return whole
    series = each.topology == "series"
    seen: dict[str, float] = {}
    cycles = [one.age_cycles for one in known if one.age_cycles is not None]
    if len(cycles) == len(known):
        seen["age_cycles"] = max(cycles)
    ah = [one.capacity_ah for one in known if one.capacity_ah is not None]
    doubts = [one.capacity_doubt for one in known if one.capacity_doubt is not None]
    if len(doubts) == len(known):
        seen |= {"capacity_ah": min(ah) if series else sum(ah), "capacity_doubt": max(doubts)}
    ohms = [one.resistance_ohm for one in known if one.resistance_ohm is not None]
    doubts = [one.resistance_doubt for one in known if one.resistance_doubt is not None]
    if len(doubts) == len(known):
        ohm = sum(ohms) if series else 1.0 / sum(1.0 / one for one in ohms)
        seen |= {"resistance_ohm": ohm, "resistance_doubt": max(doubts)}
    return whole.model_copy(update=seen)


def _indexes(prefix: str, names: Sequence[str]) -> list[int]:
    return [INDEX[f"{prefix}{name}"] for name in names]


_INPUTS: Final = ("voltage", "current", "consumed", "gauge_left", "temperature")


class BatteryEstimates:
    """All packs of an aircraft, and the worst. Before any pack is told apart, a monitor measures them all."""

    def __init__(self, readings: Readings, file: AircraftFile | None, fitted: Sequence[Packs] = ()) -> None:
        """Take what is known of each fitted pack, pack 1 first; without it all are as in the aircraft file."""
        self._readings = readings
        self._each = file.packs if file is not None else Packs()
        self._fitted = fitted
        self._all = at_monitor(whole_today(self._each, fitted), self._each.counted, None)
        hover = file.hover_power if file is not None else None
        self._hover_w = hover.power_w if hover is not None else None
        self._whole = PackEstimate(_indexes("battery.", _INPUTS), self._all, lambda: self._hover_w)
        self._packs: list[PackEstimate] = []
        self._known: list[int] = []
        self._carrying = Carrying()
        self._carries_since_us: dict[int, int] = {}
        self._volts = BusVolts()
        self._kept: dict[int, Mapping[str, Any]] = {}
        self.stream = Stream()
        self.indexes: tuple[int, ...] = (*_indexes("battery.", NAMES), *_indexes("battery.", OVER_ALL))
        """Readings that `run` writes: the worst pack's, the number of packs out, then each known pack's."""

    @property
    def count(self) -> int:
        """Packs that there are: stated, or told apart."""
        return max(self._each.count, len(self._packs), 1)

    def _of(self, pack: int) -> Packs:
        """Return what is known beforehand of a pack, from 1."""
        known = self._fitted[pack - 1] if pack <= len(self._fitted) else self._each
        return at_monitor(known, self._each.counted, pack)

    def numbered(self, number: int) -> PackEstimate | None:
        """Return a pack by its number in the readings; before any is told apart, all as one."""
        if not self._packs:
            return self._whole
        return next((one for known, one in zip(self._known, self._packs, strict=True) if known == number), None)

    def seen(self) -> tuple[PackSeen, ...]:
        """Return what was seen of each pack with a label since the last call, and take it for written down."""
        found = (pack_seen(one) for one in self._packs or [self._whole])
        return tuple(one for one in found if one is not None)

    @property
    def out(self) -> int:
        """Packs that have come off the bus."""
        return len(self._carrying.out)

    def _part_w(self) -> float | None:
        """Return the power that one pack is expected to give in flight."""
        return None if self._hover_w is None else self._hover_w / self.count

    def supplies(self) -> list[Supply] | None:
        """Return every pack on the bus; None unless all that are there are known.

        Half the packs say nothing of the other half, which may be empty or not connected.
        """
        packs = self._connected() if self._packs else [self._whole]
        if self._packs and len(packs) + self.out < self._each.count:
            return None
        amps: list[float] = []
        filters = []
        for one in packs:
            if not one.known or one.filter is None or one.usual_a is None or one.usual_a <= 0.0:
                return None
            amps.append(one.usual_a)
            filters.append(one.filter)
        # in series the same current flows through all: each gives its part of the voltage
        even = self._each.topology == "series" or len(amps) == 1
        total = sum(amps)
        return [
            Supply(
                kept.state(),
                kept.doubtful,
                1.0 / len(packs) if even else amp / total,
                one.empty,
                one.floor_v,
                one.mean_power_w,
            )
            for one, amp, kept in zip(packs, amps, filters, strict=True)
        ]

    def distrust_current(self) -> None:
        """Take it that the current is grossly wrong: no aircraft of this file flies with the power it makes."""
        for one in (*self._packs, self._whole):
            one.distrust_current()

    def why_unknown(self) -> str:
        """Return in plain words why `supplies` gives nothing."""
        packs = self._connected() if self._packs else [self._whole]
        if self._packs and len(packs) + self.out < self._each.count:
            return f"only {len(packs)} of {self._each.count} packs is told"
        if any(one.packs.capacity_ah is None for one in packs):
            return "the capacity of its packs is in no file"
        for one in packs:
            if one.usual_a is None or one.usual_a <= 0.0:
                return "the current of its packs is not measured"
            if one.filter is None:
                return "the cells of its packs are not known"
        return "the charge of its packs is not known"

    def _spreads(self, connected: Sequence[PackEstimate], now_us: int) -> list[float | None]:
        """Return how unequal the packs on the bus are: in current (%), charge (%), temperature (K)."""
        amps = [one.usual_a for one in connected if one.settled and one.usual_a is not None]
        charges = [100.0 * one.filter.charge for one in connected if one.known and one.filter is not None]
        degc = [
            value
            for pack, one in zip(self._known, self._packs, strict=True)
            if one in connected
            and (value := number(self._readings, pack_index(pack, "temperature"), now_us)) is not None
        ]
        mean_a = sum(amps) / len(amps) if amps else 0.0
        parallel = self._each.topology == "parallel"
        flying = self._readings.values[_PHASE] in _IN_FLIGHT
        shares = len(amps) > 1 and mean_a > _LEAST_MEAN_A and parallel and flying
        return [
            100.0 * (max(amps) - min(amps)) / mean_a if shares else None,
            max(charges) - min(charges) if len(charges) > 1 else None,
            max(degc) - min(degc) if len(degc) > 1 else None,
        ]

    def _connected(self) -> list[PackEstimate]:
        return [one for i, one in enumerate(self._packs) if i not in self._carrying.out]

    def _lean(self, now_us: int) -> None:
        """Let the packs on one bus lean on each other in flight; the others stand alone."""
        flying = self._readings.values[_PHASE] in _IN_FLIGHT
        for i, one in enumerate(self._packs):
            kept = one.filter
            if kept is None or kept.at_rest:  # another pack, or a first flight
                self._carries_since_us.pop(i, None)
                if not flying:
                    self._volts.forget()
            elif kept.leaning is not None and not flying:
                # no current tells anything there: it stays, but voltages at rest take the doubt that it had parted
                kept.leaning = kept.leaning._replace(known=())
        if self._each.topology != "parallel" or not flying:
            self._volts.pause(now_us)
            return
        carried = max((one.usual_a or 0.0 for one in self._packs), default=0.0)
        on_bus: dict[int, OnBus] = {}
        for i, one in enumerate(self._packs):
            kept, current_a = one.filter, one.usual_a
            if kept is None:
                continue
            kept.leaning = None
            on_it = i not in self._carrying.out and one.known and not (one.wrong_current or kept.at_rest)
            if not on_it or current_a is None or current_a < _CARRIES * carried:
                self._carries_since_us.pop(i, None)
                continue
            # before currents are settled nothing tells packs that are unequal in truth
            since_s = (now_us - self._carries_since_us.setdefault(i, now_us)) / 1e6
            on_bus[i] = OnBus(kept, current_a, max(0.0, min(1.0, (since_s - _ALONE_S) / _JOINS_S)))
            if one.cell_v is not None:
                self._volts.hear(i, *one.cell_v)
        shown = self._volts.over(list(on_bus), now_us)
        lean([one._replace(over=over) for one, over in zip(on_bus.values(), shown, strict=True)])

    def _share(self, connected: Sequence[PackEstimate]) -> None:
        """Let the packs on the bus carry what those off it did."""
        on_bus_w = sum(one.even_power_w for one in connected)
        times = sum(one.even_power_w for one in self._packs) / on_bus_w if on_bus_w > 0.0 else 1.0
        for i, one in enumerate(self._packs):
            one.carry(times if i not in self._carrying.out else 0.0)

    def _judge(self, now_us: int) -> None:
        """Find the packs that have come off the bus; only in flight, where all of them carry."""
        readings = self._readings
        if self._each.topology != "parallel" or readings.values[_PHASE] not in _IN_FLIGHT:
            self._carrying.reset()
            return
        currents = [number(readings, pack_index(pack, "current"), now_us) for pack in self._known]
        self._carrying.update(currents, now_us)

    def run(self, now_us: int) -> list[float | bool | None] | None:
        """Return values for `indexes`, or None when no new sample came."""
        readings = self._readings
        for pack in range(1, MAX_PACKS + 1):
            if pack not in self._known and readings.streams[pack_index(pack, "voltage")] is not None:
                self._known.append(pack)
                inputs = _indexes(f"battery.{pack}.", _INPUTS)
                self._packs.append(PackEstimate(inputs, self._of(pack), self._part_w))
                if pack in self._kept:
                    self._resume_pack(self._packs[-1], self._kept.pop(pack))
                self.indexes += tuple(_indexes(f"battery.{pack}.", NAMES))
        if not self._packs:
            if not self._whole.run(readings, now_us):
                return None
            return [
                *self._whole.values,
                None,
                self._whole.gauge_off_pct,
                None,
                None,
                None,
                self._whole.wrong_current,
            ]
        if not sum(one.run(readings, now_us) for one in self._packs):  # every one runs
            return None
        self._judge(now_us)
        self._lean(now_us)
        values: list[float | bool | None] = []
        connected = self._connected()
        self._share(connected)
        for position, worst in enumerate(_WORST):
            known = [v for one in connected if (v := one.values[position]) is not None]
            values.append(worst(known) if known else None)
        values[0] = self._not_better(values[0], connected)
        values.append(float(len(self._carrying.out)))
        off = [pct for one in connected if (pct := one.gauge_off_pct) is not None]
        values.append(max(off, key=abs) if off else None)
        values += self._spreads(connected, now_us)
        values.append(any(one.wrong_current for one in connected))
        for one in self._packs:
            values.extend(one.values)
        return values

    def _not_better(self, worst_pct: float | None, connected: Sequence[PackEstimate]) -> float | None:
        """Return the worst charge, in flight no better than it last was in a pack that is no longer told."""
        if self._readings.values[_PHASE] not in _IN_FLIGHT:
            for one in self._packs:
                one.last_charge_pct = one.values[0]  # what is silent on the ground may be taken out
        if worst_pct is None:
            return None
        return min([worst_pct, *(p for one in connected if (p := one.last_charge_pct) is not None)])

    def learned(self) -> Mapping[str, Any]:
        """Return what was learned of each pack, to be kept over a restart of the watch."""
        packs = {str(number): one.learned() for number, one in zip(self._known, self._packs, strict=True)}
        waiting = {str(number): of_pack for number, of_pack in self._kept.items()}  # not heard yet
        return {**waiting, **packs} or {"0": self._whole.learned()}

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Take up what was kept; a pack's when the pack is heard. Raises what a bad value raises."""
        for key, of_pack in kept.items():
            if key == "0":
                self._whole.resume(of_pack)
            elif key.isdigit() and 1 <= int(key) <= MAX_PACKS:
                self._kept[int(key)] = of_pack

    @staticmethod
    def _resume_pack(one: PackEstimate, kept: Mapping[str, Any]) -> None:
        try:
            one.resume(kept)
        except (KeyError, TypeError, ValueError):
            return  # what was kept is no pack: it starts from what it shows

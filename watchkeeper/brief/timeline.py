"""Today's flight second by second: what the packs show on each leg, out of full packs, as expected."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from watchkeeper.brief.day import Today, heating_k, warmer
from watchkeeper.brief.route import Part, Point
from watchkeeper.estimate.home.homeway import Leg

STEP_S: Final = 5.0


class Moment(NamedTuple):
    """A moment: seconds from take-off, the leg, where, the power of all packs, and each pack's charge (0 to 1).

    `volt_v` is the bus as measured, `rest_v` without the load's drop, `used_ah` what each pack has given.
    """

    time_s: float
    leg: str
    at: Point
    power_w: float
    charges: tuple[float, ...]
    volt_v: float
    rest_v: float
    used_ah: tuple[float, ...]


def moments(today: Today, parts: Iterable[Part], *, warming: bool = False) -> list[Moment]:
    """Return the flight over these legs in steps; `warming`: the packs keep their heat, else they stay cold."""
    supplies = today.supplies
    charges = [one.state.charge for one in supplies]
    warm_k = [0.0 for _ in supplies]
    now = today
    found: list[Moment] = []
    time_s = 0.0
    for part in parts:
        power_w = today.model.power_w(part.leg.airspeed_m_s, part.leg.climb_m_s)
        left_s = part.leg.time_s
        found.append(_moment(now, charges, time_s, part, power_w))
        while left_s > 0.0:
            step_s = min(STEP_S, left_s)
            left_s -= step_s
            time_s += step_s
            for i, one in enumerate(now.supplies):
                if warming:
                    warm_k[i] += heating_k(today.packs[i], one.state, charges[i], power_w * one.share, step_s)
                charges[i], _ = one.state.drawn(charges[i], power_w * one.share, step_s)
            if warming:
                now = _warmed(today, warm_k)
            found.append(_moment(now, charges, time_s, part, power_w))
    return found


def _warmed(today: Today, warm_k: Sequence[float]) -> Today:
    pairs = zip(today.supplies, warm_k, strict=True)
    warm = [one._replace(state=warmer(one.state, today.temperature_degc, by_k)) for one, by_k in pairs]
    return today._replace(supplies=tuple(warm))


def _moment(today: Today, charges: Sequence[float], time_s: float, part: Part, power_w: float) -> Moment:
    supplies = today.supplies
    pairs = list(zip(supplies, charges, strict=True))
    rests = [one.state.cells * one.state.open_v(charge) for one, charge in pairs]
    used = tuple((one.state.charge - charge) / one.state.per_ah for one, charge in pairs)
    volt_v = bus_v(today, charges, power_w)
    return Moment(time_s, part.leg.name, part.to, power_w, tuple(charges), volt_v, _bus(today, rests), used)


def bus_v(today: Today, charges: Sequence[float], power_w: float, packs: Sequence[int] | None = None) -> float:
    """Return the bus's voltage under a power of all packs, V, or that of some of the packs in series."""
    supplies = today.supplies
    some = range(len(supplies)) if packs is None else packs
    return _bus(
        today,
        [
            supplies[i].state.cells * supplies[i].state.cell_v(charges[i], power_w * supplies[i].share)
            for i in some
        ],
    )


def gusty(today: Today, seen: Iterable[Moment], more: float) -> list[Moment]:
    """Return each moment as a gust would find it that takes `more` times its power, the charge as it then is."""
    return [
        one._replace(power_w=one.power_w * more, volt_v=bus_v(today, one.charges, one.power_w * more))
        for one in seen
    ]


def _bus(today: Today, volts: Sequence[float]) -> float:
    # side by side all have the bus's voltage: the mean of what each would show by itself
    return math.fsum(volts) if today.series else math.fsum(volts) / len(volts)


def home_parts(legs: Sequence[Leg], at: Point) -> list[Part]:
    """Return the legs home from a point as parts that all are on the way from there."""
    return [Part(leg._replace(name=f"home: {leg.name}"), at) for leg in legs]

"""Each fitted pack as it is today: the aircraft file's, with what the crew's ledger knows of it by its label."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Packs
from watchkeeper.aircraft.filetypes import Counted
from watchkeeper.aircraft.ledger import Ledger
from watchkeeper.estimate.packs.cell import FADE, LIFE_CYCLES, aged_capacity, temperature_factor

CAPACITY: Final = 0.03
"""One standard deviation, as a part, of packs against their label (common practice)."""
SCALE: Final = 0.03
"""The same of a current sensor's scale (common practice)."""
STEADY: Final = 0.005
"""The same of a scale that was measured: from day to day, and with the load (common practice)."""
RESTED: Final = 0.005
"""Of full charge: what a rest of an hour, its warmth and a charger's end leave open (common practice)."""
USUAL_CYCLES: Final = 100.0
"""Of a pack of unknown age."""
_FADE_KNOWN, _FADE_UNKNOWN = 0.4, 0.8
"""Deviations of the fade, as a part of it, with the age told and without."""
SEEN_CAPACITY: Final = 0.05
"""One standard deviation, as a part, of a capacity that the ledger gives without one: a charger's count, from full
down to where a crew stops and up again (common practice)."""
SEEN_OHM: Final = 0.15
"""As a logarithm, of a resistance that was seen at a known temperature: 15 K from where it was, an Arrhenius
constant that is off by 600 K is 0.11; another connector, another current sensor 0.1."""
UNTOLD_OHM: Final = 0.3
"""The same where no temperature was told: 10 K are 0.3 by 2 600 K."""


class FittedPack(Packs):
    """One pack as it is fitted today.

    `capacity_ah` is what it holds today where `capacity_doubt` is known, `resistance_ohm` what it has today at 25
    degrees C where `resistance_doubt` is known: age must not be counted again. Else both are the aircraft file's,
    of a new pack.
    """

    label: str = ""
    rated_ah: float | None = None
    """Capacity by the aircraft file; what cycles are counted in."""
    capacity_doubt: float | None = None
    """One standard deviation, as a part of the capacity."""
    resistance_doubt: float | None = None
    """One standard deviation of the resistance's logarithm."""


class Held(NamedTuple):
    """What a pack holds today as a part of its stated capacity, and one standard deviation of that, as a part."""

    part: float
    doubt: float


class Scale(NamedTuple):
    """The logarithm of what a current sensor counts of an Ah, and one standard deviation of that."""

    off: float
    doubt: float


def scale_of(packs: Packs) -> Scale:
    """Return the scale of the one monitor of these packs: as measured against a charger, and as is usual.

    The two are weighed by their variances: a short flight against a charge that ends anywhere tells little.
    """
    if len(packs.counted) != 1:
        return Scale(0.0, SCALE)
    counted = packs.counted[0]
    measured = math.hypot(STEADY, RESTED * (packs.capacity_ah or 0.0) / counted.charger_ah)
    both = math.hypot(SCALE, measured)
    off = math.log(counted.monitor_ah / counted.charger_ah)
    return Scale(off * (SCALE / both) ** 2, SCALE * measured / both)


def at_monitor(packs: Packs, counted: Sequence[Counted], number: int | None) -> Packs:
    """Return packs with what the monitor of one of them counted (its number, from 1; None: a monitor of all)."""
    if number is None:
        own = tuple(counted) if len(counted) == 1 else ()
    else:
        own = tuple(counted[number - 1 : number]) if len(counted) == packs.count else ()
    return packs if own == packs.counted else packs.model_copy(update={"counted": own})


def usual_age(packs: Packs) -> float:
    """Return a pack's age in cycles, what is usual where it is not told."""
    return packs.age_cycles if packs.age_cycles is not None else USUAL_CYCLES


def held(packs: Packs) -> Held:
    """Return what a pack holds today: as a ledger has seen it, else by its label and age."""
    if isinstance(packs, FittedPack) and packs.capacity_doubt is not None:
        return Held(1.0, packs.capacity_doubt)
    aged = usual_age(packs)
    fade = FADE * aged / LIFE_CYCLES
    fade_doubt = (_FADE_KNOWN if packs.age_cycles is not None else _FADE_UNKNOWN) * fade
    return Held(aged_capacity(aged), math.hypot(CAPACITY, fade_doubt))


def packs_today(packs: Packs, ledger: Ledger | None, fitted: Sequence[str]) -> list[Packs]:
    """Return the fitted packs, pack 1 first, with what the ledger has of them.

    A label that it does not have is a pack as in the aircraft file; with no labels all `packs.count` of them are.
    What monitors counted is left out: it is theirs, not the packs'.
    """
    each: list[Packs] = [fitted_pack(packs, ledger, label) for label in fitted] or [packs] * packs.count
    return [at_monitor(one, (), None) for one in each]


def rated_ah(pack: Packs) -> float:
    """Return a pack's stated capacity, Ah, which gauges count from; 0 where none is stated."""
    stated = pack.rated_ah if isinstance(pack, FittedPack) else None
    return stated or pack.capacity_ah or 0.0


def fitted_pack(packs: Packs, ledger: Ledger | None, label: str) -> FittedPack:
    """Return one pack of these with what the ledger has of it."""
    known = FittedPack().model_copy(update={**dict(packs), "label": label, "rated_ah": packs.capacity_ah})
    entry = ledger.packs.get(label) if ledger is not None else None
    if entry is None:
        return known
    seen: dict[str, float] = {}
    if entry.cycles is not None:
        seen["age_cycles"] = entry.cycles
    if entry.capacity is not None:
        ah, doubt_ah = entry.capacity
        seen |= {"capacity_ah": ah, "capacity_doubt": doubt_ah / ah if doubt_ah is not None else SEEN_CAPACITY}
    if entry.resistance is not None:
        ohm, degc = entry.resistance
        warm = 1.0 if degc is None else temperature_factor(degc)
        doubt = UNTOLD_OHM if degc is None else SEEN_OHM
        seen |= {"resistance_ohm": ohm / warm, "resistance_doubt": doubt}
    return known.model_copy(update=seen)

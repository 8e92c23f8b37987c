"""Faults of a flown scenario that lie between values: times out of order, and what the flight does not have."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from typing import Final, Literal

from simulators.flown.deeds import Do
from simulators.flown.events import When
from simulators.flown.scenario_file import CrewKeys, FaultKeys, FlownFile
from simulators.flown.site_file import RadioKeys
from simulators.flown.telemetry import RATES_HZ
from simulators.onboard.parameters import parameters
from simulators.onboard.place import Field
from simulators.wire.parameters import single
from simulators.wire.schedule import MOST_HZ
from watchkeeper.documents import Document, Path
from watchkeeper.errors import Fault, did_you_mean

FARTHEST_M: Final = 20_000.0
"""As far as places in metres may be."""
_Needed = Literal["sky", "link", "radio", "first radio", "plan"]
_NEEDS: Final[Mapping[str, _Needed]] = {
    "jam_db": "sky", "pull": "sky", "release_pull": "sky", "radio": "link", "interferer": "radio",
    "antenna_loss_db": "first radio", "start_plan": "plan",
}  # fmt: skip
_MISSING: Final[Mapping[_Needed, tuple[str, str]]] = {
    "sky": ("needs a sky", "add 'sky: {}'"),
    "link": ("needs a link", "add 'links: [{kind: radio}]'"),
    "radio": ("needs a radio", "add 'links: [{kind: radio}]'"),
    "first radio": ("needs a radio as the first link", "begin the links with {kind: radio}"),
    "plan": ("needs a plan", "add 'plan: …'"),
}


def disorder(document: Document, written: FlownFile) -> Iterator[Fault]:
    """Yield every fault that lies between values, in the order of the keys."""
    weather = written.weather
    yield from _early(document, "wind", [row[0] for row in weather.wind])
    yield from _early(document, "draughts", [row[0] for row in weather.draughts])
    for name, hz in written.rates_hz.items():
        if name not in RATES_HZ:
            todo = did_you_mean(name, RATES_HZ, otherwise="see the messages that the aircraft sends")
            yield document.fault(("rates_hz", name), f"the aircraft sends no '{name}'", todo, key=True)
        elif hz > MOST_HZ:
            yield document.fault(("rates_hz", name), f"{name} cannot come at {hz:g} Hz", f"0 to {MOST_HZ:g}")
    try:
        written.surroundings()
    except ValueError as error:
        yield document.fault(("ground",), str(error), "correct it")
    for i, pack in enumerate(written.packs):
        if pack.weak_mohm and pack.weak_cell is None:
            yield document.fault(("packs", i, "weak_mohm"), "which cell is weak is missing", "add 'weak_cell: …'")
    if written.control == "same" and not written.links:
        yield document.fault(("control",), f"control: same {_MISSING['link'][0]}", _MISSING["link"][1])
    yield from _plan(document, written)
    for name, value in written.parameters.items():
        yield from _parameter(document, ("parameters", name), name, value, key=True)
    events: list[tuple[Path, CrewKeys | FaultKeys]] = [(("crew", i), one) for i, one in enumerate(written.crew)]
    events += [(("faults", i), one) for i, one in enumerate(written.faults)]
    for path, event in events:
        yield from _when(document, (*path, "when"), event.when, written.duration_s)
        yield from _do(document, (*path, "do", event.do.name), event.do, written)


def _early(document: Document, key: str, times_s: list[float]) -> Iterator[Fault]:
    for i, (earlier, later) in enumerate(itertools.pairwise(times_s), start=1):
        if later <= earlier:
            what = f"{key}: time {later:g} is not after {earlier:g}"
            yield document.fault(("weather", key, i, 0), what, "put the times in order")


def _plan(document: Document, written: FlownFile) -> Iterator[Fault]:
    home = Field(*written.home)
    for i, one in enumerate(written.plan):
        away_m = math.hypot(*home.metres(*one.at))
        if away_m > FARTHEST_M:
            what = f"at: {away_m / 1000:.0f} km from home"
            yield document.fault(("plan", i, "at"), what, f"at most {FARTHEST_M / 1000:g} km")
    if written.return_after_plan and not written.plan:
        yield document.fault(("return_after_plan",), "return_after_plan needs a plan", _MISSING["plan"][1])


def _parameter(document: Document, place: Path, name: str, value: float, *, key: bool = False) -> Iterator[Fault]:
    known = parameters()
    if name not in known:
        todo = did_you_mean(name, known, otherwise="see the aircraft's parameters")
        yield document.fault(place, f"the aircraft has no parameter '{name}'", todo, key=key)
        return
    one = known.definitions[known.index[name]]
    if not one.allows(single(value)):
        allowed = f"{'whole numbers ' if one.integer else ''}{one.minimum:g} to {one.maximum:g}"
        yield document.fault(place, f"{name} cannot be {value:g}", allowed)


def _when(document: Document, place: Path, when: When, end_s: float) -> Iterator[Fault]:
    if when.at_s is not None and when.at_s + when.delay_s >= end_s:
        what = f"happens at {when.at_s + when.delay_s:g} s, after the end at {end_s:g} s"
        yield document.fault((*place, "at_s"), what, "end the scenario later")


def _do(document: Document, place: Path, do: Do, written: FlownFile) -> Iterator[Fault]:
    count = len(written.packs)
    number = do.open_pack or do.close_pack or 1
    if number > count:
        yield document.fault(place, f"there is no pack {number}", f"the last is pack {count}")
    if do.parameter is not None:
        yield from _parameter(document, place, *do.parameter)
    radios = [isinstance(link, RadioKeys) for link in written.links]
    has: dict[_Needed, bool] = {
        "sky": written.sky is not None,
        "link": bool(radios),
        "radio": any(radios),
        "first radio": radios[:1] == [True],
        "plan": bool(written.plan),
    }
    needed = "plan" if do.mode == "mission" else _NEEDS.get(do.name)
    if needed is not None and not has[needed]:
        what, todo = _MISSING[needed]
        yield document.fault(place, f"{do.name} {what}", todo, key=True)

"""Three invented sorties are briefed, and flown with what the brief asks for.

The crew's files tell the brief nearly what is so (`sorties/`); what is flown (`sorties/flown/`) has other winds,
temperatures and packs than they say. Beside that each seed draws cells, gauges, sensors and gusts. The
simulated aircraft flies the sortie's plan and is then left alone at the farthest point: nobody orders a return.
Usable charge at landing is the simulator's own truth (`simulators.flown.truth.usable_pct`).

    python -m tests.brief.flown [SEEDS]
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from statistics import median
from typing import Final, NamedTuple
from unittest.mock import patch

from pymavlink.dialects.v20 import all as dialect

from simulators.flown.scenario import FlownScenario
from simulators.flown.scenario_file import FlownFile
from simulators.onboard.parameters import parameters
from simulators.scenario import load
from tests.brief.flights import Landing, Setting, Values, fly
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.brief.day import today
from watchkeeper.brief.findings import Brief, StageToday
from watchkeeper.brief.make import Given, _plan, _plan_speed, make
from watchkeeper.brief.route import points
from watchkeeper.brief.stages import stages_today
from watchkeeper.cli.inputs import load_crew_files
from watchkeeper.estimate.packs.packtoday import packs_today

FOLDER: Final = Path(__file__).resolve().parent / "sorties"
NAMES: Final = ("flat", "ridge", "cold")
SEEDS: Final = 12
USUAL: Final = {"44 V as measured": 0.0, "44 V compensated": 1.0}
"""Usual low-battery action on a 12S pack: return at 44 V; whether as measured or compensated is not said (common
practice)."""
LONG_STAY: Final = 5000.0
LOW_M: Final = 60.0
"""A return height under the top of the ridge."""
_NOW_S: Final = 1_778_574_600.0


@dataclass(frozen=True, slots=True)
class Sortie:
    """A sortie as briefed: the aircraft's values after the return is set as asked, and the settings to try."""

    name: str
    written: FlownFile
    sortie: SortieFile
    first: Brief
    brief: Brief
    values: Values
    settings: tuple[Setting, ...]


def seen(values: Values) -> SeenParameters:
    """Return the simulated aircraft's parameters, some changed, as a crew's recording has them."""
    own = parameters(values)
    kind = dialect.MAV_AUTOPILOT_GENERIC, None, dialect.MAV_TYPE_HEXAROTOR
    return SeenParameters("the aircraft", *kind, {name: own[name] for name in own}, complete=True)


def sorted_out(name: str, values: Values, *, stay_s: float | None = None) -> Given:
    """Return what a brief of an aircraft with these parameters is made of; `stay_s` replaces the last stay."""
    files, sortie = load_crew_files([], FOLDER / f"{name}.yaml")
    assert sortie is not None
    if stay_s is not None:
        last = sortie.plan[-1].model_copy(update={"stay_s": stay_s})
        sortie = sortie.model_copy(update={"plan": (*sortie.plan[:-1], last)})
    packs = packs_today(files[0].packs, None, ())
    return Given(sortie, files[0], packs, seen(values), None, _NOW_S)


def _brief(name: str, values: Values) -> Brief:
    # the reach is not flown here, and would take most of the time
    with patch("watchkeeper.brief.make.contour", return_value=()):
        return make(sorted_out(name, values))


@cache
def prepared(name: str) -> Sortie:
    """Return a sortie, its return set as the brief asks, and briefed anew: what a crew does."""
    scenario = load(FOLDER / "flown" / f"{name}.yaml")
    assert isinstance(scenario, FlownScenario)
    _, sortie = load_crew_files([], FOLDER / f"{name}.yaml")
    assert sortie is not None
    first = _brief(name, scenario.written.parameters)
    values = dict(scenario.written.parameters)
    for row in changes(first, but="low battery"):
        values |= row
    brief = first if values == scenario.written.parameters else _brief(name, values)
    return Sortie(name, scenario.written, sortie, first, brief, values, tuple(_settings(brief)))


def changes(brief: Brief, *, but: str) -> Iterable[dict[str, float]]:
    """Yield what each row of the brief asks to be changed, by the aircraft's own names; but not rows named so."""
    assert brief.settings is not None
    for row in brief.settings.rows:
        if row.name.startswith(but) or row.weight == "advisory":
            continue
        yield {name: float(to.split()[0]) for name, to in map(_change, row.changes)}


def _change(words: str) -> tuple[str, str]:
    name, _, change = words.partition(": ")
    return name, change.split(" -> ")[1]


def _settings(brief: Brief) -> Iterable[Setting]:
    """Yield the briefed threshold in each quantity that this aircraft can watch; the crew sets tenths of volts."""
    assert brief.battery is not None
    limit = brief.battery.threshold
    assert limit is not None
    ohm = brief.battery.packs[0].resistance_mohm / 1000.0
    up_v, up_rest_v = (math.ceil(10.0 * v) / 10.0 for v in (limit.volt_v, limit.compensated_v))
    yield Setting("as measured", {"low1.volt_v": up_v, "low1.compensate": 0.0})
    assert brief.settings is not None
    row = next(one for one in brief.settings.rows if one.name == "low battery: return")
    asked = dict(map(_change, row.changes))
    yield Setting("as the brief changes it", {name: float(to.split()[0]) for name, to in asked.items()})
    yield Setting(
        "compensated by the brief's ohm", {"low1.volt_v": up_rest_v, "low1.compensate": 1.0, "low.pack_ohm": ohm}
    )
    yield Setting("gauge", {"low1.volt_v": 0.0, "low1.gauge_pct": float(math.ceil(limit.gauge_pct))})


def usual() -> tuple[Setting, ...]:
    """Return what crews set without a brief."""
    return tuple(Setting(name, {"low1.volt_v": 44.0, "low1.compensate": one}) for name, one in USUAL.items())


class Said(NamedTuple):
    """What the brief says of a setting, left alone: when it acts (s from take-off), what it then lands with, %."""

    acts_s: float
    lands_pct: float


def said(sortie: Sortie, setting: Setting, *, more_v: float = 0.0) -> Said:
    """Return what the brief says of the stage that a setting makes, its threshold so much higher."""
    values = {**sortie.values, **setting.values}
    if more_v:
        values["low1.volt_v"] += more_v
    alone = _stage(sortie, values, LONG_STAY)
    assert alone.acts_s is not None
    assert alone.lands_with_pct is not None
    return Said(alone.acts_s, alone.lands_with_pct)


def on_plan_s(sortie: Sortie, setting: Setting) -> float | None:
    """Return when the brief says that a setting acts on the plan as it stands; None: it does not."""
    return _stage(sortie, {**sortie.values, **setting.values}, None).acts_s


def _stage(sortie: Sortie, values: Values, stay_s: float | None) -> StageToday:
    """Return the brief's row of the first stage; only that part of a brief is made."""
    given = sorted_out(sortie.name, values, stay_s=stay_s)
    assert given.file is not None
    assert given.seen is not None
    settings = settings_of(given.seen)
    plan, _ = _plan(given.file, settings)
    flight = today(given.file, given.sortie, given.packs, plan, _plan_speed(given.file, settings))
    name = "low1 by gauge" if values.get("low1.gauge_pct") else "low1 by voltage"
    rows = stages_today(flight, points(given.sortie), settings, given.file, None)
    return next(one for one in rows if one.name == name)


def row(sortie: Sortie, setting: Setting, found: list[Landing], told: Said) -> str:
    """Return a row of the table."""
    assert sortie.brief.battery is not None
    need_pct = sortie.brief.battery.required_pct
    charges = [one.charge_pct for one in found]
    acted = [one.acted_s for one in found if one.acted_s is not None]
    when = f"{min(acted):.0f} to {max(acted):.0f}" if acted else "never"
    early = sum(one.acted_s is not None and one.acted_s < one.planned_s for one in found)
    return (
        f"{sortie.name:6}{setting.name:32}{_words(setting.values):>11}{min(charges):7.1f}{median(charges):7.1f}"
        f"{need_pct:9.0f}{sum(one.home for one in found):6}/{len(found)}"
        f"{sum(one.kept(need_pct) for one in found):8}/{len(found)}{when:>14}{early:7}"
        f"{told.acts_s:9.0f}{told.lands_pct:8.1f}"
    )


HEADING: Final = (
    f"{'sortie':6}{'setting':>13}{'':19}{'threshold':>11}{'least':>7}{'median':>7}{'reserve':>9}{'home':>8}"
    f"{'with it':>10}{'acted, s':>14}{'early':>7}{'brief: s':>9}{'lands':>8}"
)


def _words(values: Values) -> str:
    if values.get("low1.gauge_pct"):
        return f"{values['low1.gauge_pct']:.0f} %"
    return f"{values['low1.volt_v']:.1f} V"


def clearance(sortie: Sortie, seed: int, return_m: float) -> Landing:
    """Return the flight home with the first briefed setting and a return height."""
    setting = sortie.settings[0]
    course = Setting(setting.name, {**setting.values, "return.height_m": return_m})
    return fly(sortie.written, seed, sortie.values, [course])[setting.name]


def main(seeds: int) -> None:
    """Fly, and print the tables."""
    print(HEADING)
    for name in NAMES:
        sortie = prepared(name)
        settings = (*sortie.settings, *usual())
        flown = [fly(sortie.written, seed, sortie.values, settings) for seed in range(1, seeds + 1)]
        for one in settings:
            print(row(sortie, one, [each[one.name] for each in flown], said(sortie, one)), flush=True)
    ridge = prepared("ridge")
    for height_m in (ridge.values["return.height_m"], LOW_M):
        for seed in range(1, min(seeds, 4) + 1):
            found = clearance(ridge, seed, height_m)
            end = "home" if found.home else f"down {found.away_m:.0f} m away"
            print(f"ridge, return at {height_m:.0f} m, seed {seed}: clears ground by {found.clear_m:.1f} m, {end}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else SEEDS)

"""Routine calls of the crew's choosing: said every so often, and only if somebody asked."""

from __future__ import annotations

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import RoutineCall
from watchkeeper.alerts.teller import Teller
from watchkeeper.errors import BadInputError
from watchkeeper.rules.load import load_packs

PACK = """
pack: mine
about: calls asked for
settings: {{height_every: {every}, floor: 3.3 V}}
rules:
  - id: height
    level: {level}
    when: position.height > 5 m
    every: {name}
    during: [airborne]
    say: "{words}"
    why: common practice
    cases:
      - {{given: {{flight.phase: airborne, position.height: 6 m}}, expect: met}}
      - {{given: {{flight.phase: airborne, position.height: 4 m}}, expect: not met}}
"""


def said_at_s(every: str, until_s: int = 100, *, overridden: str | None = None) -> list[int]:
    """Return when the height was said: it is above 5 m from 10 s on, under it from 70 to 79 s."""
    text = PACK.format(every=every, level="routine", name="height_every", words="Height {position.height:.0}.")
    rules = load_packs([("mine.yaml", text)], {} if overridden is None else {"height_every": overridden})
    readings, teller = Readings(), Teller()
    teller.first_us = 0
    book = AlertBook(1, readings, rules.rules, {}, teller)
    stream = Stream()
    found = []
    for second in range(until_s):
        now_us = second * 1_000_000
        stream.mark(now_us)
        readings.put(INDEX["flight.phase"], "airborne", stream)
        readings.put(INDEX["position.height"], 20.0 if 10 <= second < 70 or second >= 80 else 1.0, stream)
        book.judge_readings([INDEX["position.height"]], now_us)
        book.sweep(now_us)
        found += [second for one in teller.take() if isinstance(one, RoutineCall)]
    return found


def test_it_is_said_when_it_begins_and_every_so_often_while_it_holds() -> None:
    assert said_at_s("20 s") == [10, 30, 50, 80]


def test_nothing_is_said_unasked_and_the_sortie_file_asks() -> None:
    assert said_at_s("0 s") == []
    assert said_at_s("0 s", overridden="30 s") == [10, 40, 80]


@pytest.mark.parametrize(
    ("changed", "what"),
    [
        ({"name": "heigth_every"}, "unknown setting 'heigth_every'"),
        ({"name": "floor"}, "'floor' is no time"),
        ({"every": "2 s"}, "'height_every' is 2 s"),
        ({"every": "2 h"}, "'height_every' is 7200 s"),
        ({"level": "advisory", "words": "Height. It is {position.height:.0}."}, "only a routine call has 'every'"),
    ],
)
def test_what_makes_no_sense_is_refused_where_it_stands(changed: dict[str, str], what: str) -> None:
    parts = {"every": "20 s", "level": "routine", "name": "height_every", "words": "Height {position.height:.0}."}
    with pytest.raises(BadInputError) as refused:
        load_packs([("mine.yaml", PACK.format(**{**parts, **changed}))])
    [fault] = refused.value.faults
    assert what in fault.what
    assert fault.line == 9

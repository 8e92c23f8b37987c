"""Energy of flights that were really flown, by a power learned in flight; see `energy_of_five_flights.py`."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

import pytest

from tests.conftest import RequireData
from tests.estimate.energy_of_five_flights import ARMED_S, NAME, Stretch, samples, stretches, summary


@pytest.fixture(scope="module")
def compared(require_data: RequireData) -> Sequence[Stretch]:
    return stretches(samples(require_data(NAME)))


def test_energy_foretold_against_energy_used(compared: Sequence[Stretch]) -> None:
    """Measured: next 30 s 1.5 % (median of 21), rest of the flight 2.1 % (median of 25); the sign changes.

    For comparison: 2.7 % of power and a whole-flight energy within 0.5 % are published of models fitted to their
    own craft (reference sheet, section 4).
    """
    found = summary(compared)
    for rest, most in ((False, 0.03), (True, 0.04)):
        count, mean, middle, _ = found[rest]
        assert count >= 20
        assert middle < most
        assert abs(mean) < most


def test_the_worst_is_at_the_first_moment_and_over_the_ground(compared: Sequence[Stretch]) -> None:
    """Measured: 22 % too little 3 s after it was first seen flying; 12 % too much on the fifth flight; else 9 %.

    On that flight it hangs at 1 m; ground effect is not modelled.
    """
    first = [one for one in compared if one.flight == 1 and one.from_s < 495.0]
    assert first
    for one in compared:
        assert abs(one.error) < (0.25 if one in first else 0.13)
    others = [one for one in compared if one not in first and one.flight != 5]
    assert max(abs(one.error) for one in others) < 0.09


def test_it_keeps_what_it_learned_from_flight_to_flight(compared: Sequence[Stretch]) -> None:
    """The first comparison of each later flight, with what earlier ones taught: within 2 % (measured: 1.5)."""
    firsts = [next(one for one in compared if one.flight == flight) for flight in (2, 3, 5)]
    assert len(ARMED_S) == 5  # the fourth is too short for one
    assert max(abs(one.error) for one in firsts) < 0.02
    assert median(abs(one.error) for one in compared if one.flight == 2) < 0.015

"""What today asks is plain data, in the words that the aircraft's settings have."""

from __future__ import annotations

from typing import get_args

from watchkeeper.aircraft.vocabulary import KEPT, QUANTITY
from watchkeeper.brief.asked import QUANTITIES, Asked, Flown, LinkLost, LowBattery, Quantity, Window


def test_the_words_are_those_of_the_settings() -> None:
    known = {word for kind in QUANTITY.values() for word in kind.words}
    assert {*QUANTITIES} == {*get_args(Quantity)} == known - {"charge_left"}  # which is put into charge used
    assert {*get_args(Flown)} == {*KEPT}
    assert {*LinkLost(5.0).flown} <= {*KEPT}


def test_what_is_not_asked_is_left_out() -> None:
    asked = Asked(Window(40.0, None, None), None, plan_highest_m=60.0)
    assert {asked.low_battery, asked.control_lost, asked.station_lost, asked.fence} == {None}
    assert asked.free_around_m == 0.0  # nothing may be taken for free of obstacles
    assert LowBattery({}).used_share == {}

"""Acknowledging by a switch of the pilot's transmitter: as if the pilot had asked for it, and answered aloud.

"Acknowledged." is said where something was: a pilot whose eyes are on the aircraft would otherwise have to wait
for the next repetition not to come. Where nothing was to be acknowledged, nothing is said.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from watchkeeper.aircraft.channeluse import Known
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.desk import WatchDesk
from watchkeeper.alerts.events import Order
from watchkeeper.alerts.orders import carry_out
from watchkeeper.alerts.sightings import Sightings
from watchkeeper.alerts.teller import Teller

RULE: Final = "watch-acknowledged"
"""Of the answer."""
BY: Final = "sticks"


def take_press(
    aircraft: Aircraft, book: AlertBook, desk: WatchDesk, sightings: Sightings, teller: Teller, now_us: int
) -> None:
    """Acknowledge, for the pilot, all of this aircraft and of the watch itself that was told before the press."""
    switch = aircraft.switch
    pressed_us, switch.pressed_us = switch.pressed_us, None
    if pressed_us is None or switch.use(aircraft.autopilot, aircraft.vehicle, aircraft.parameters).known is not (
        Known.FREE
    ):
        return
    before = len(teller.out)
    order = Order("acknowledge", aircraft=aircraft.system, by=BY)
    desk.order(replace(order, aircraft=None), now_us, told_by_us=pressed_us)
    sightings.acknowledge_all(order, now_us, told_by_us=pressed_us)
    carry_out(book, teller, order, now_us, told_by_us=pressed_us)
    if len(teller.out) > before:
        teller.routine(RULE, aircraft.system, teller.language.phrase("Acknowledged."), {}, now_us)

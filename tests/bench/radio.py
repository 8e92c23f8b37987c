"""What the simulated radio and ground cost, in microseconds a call.

    python tests/bench/radio.py

A flight asks the link for its margins 10 times a second, the ground for its height 50 times, and sends some 40
frames. The best of the rounds counts: other work on the machine only ever slows a round down.
"""

from __future__ import annotations

import sys
import timeit
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from simulators.radio.link import Interferer, Radio
from simulators.radio.model import RadioModel
from simulators.site.ground import Ground, Hill, Obstacle, Ridge

GROUND = Ground(
    (Hill((800.0, 200.0), 60.0, 150.0), Hill((-500.0, 900.0), 40.0, 200.0)),
    (Ridge(((1500.0, -800.0), (1600.0, 0.0), (1500.0, 900.0)), 50.0, 120.0),),
    (Obstacle((300.0, 40.0), 25.0, 8.0), Obstacle((120.0, -60.0), 15.0, 1.0)),
)

LEVEL = Ground()


def mover(radio: Radio) -> Callable[[], None]:
    """Return what moves the aircraft on by 0.1 s at each call."""
    now_s = 0.0

    def move() -> None:
        nonlocal now_s
        now_s += 0.1
        radio.move(now_s, 10.0 * now_s % 2500.0, 100.0, 60.0, 1.0, 0.1, 0.05)

    return move


def sender(radio: Radio) -> Callable[[], None]:
    """Return what sends a frame and fetches what has come."""
    now_s = 0.0
    frame = bytes(40)

    def send() -> None:
        nonlocal now_s
        now_s += 0.025
        radio.send_down(now_s, frame)
        radio.arrived_down(now_s)

    return send


def skyliner(ground: Ground) -> Callable[[], None]:
    """Return what asks for a skyline somewhere else each time."""
    north = 0.0

    def look() -> None:
        nonlocal north
        north = (north + 6.0) % 3000.0
        ground.skyline(north, 100.0, 5.0)

    return look


def main() -> None:
    """Print a line for each."""
    disturbed = Radio(RadioModel(), GROUND)
    disturbed.interferers += [Interferer((500.0, 0.0), 20.0), Interferer((-500.0, 0.0), 20.0)]
    flown = Radio(RadioModel())
    mover(flown)()
    timed: dict[str, Callable[[], object]] = {
        "height_m, level field": lambda: LEVEL.height_m(700.0, 150.0),
        "height_m, five features": lambda: GROUND.height_m(700.0, 150.0),
        "skyline made anew": skyliner(GROUND),
        "move, level field": mover(Radio(RadioModel())),
        "move, five features": mover(Radio(RadioModel(), GROUND)),
        "move, and two interferers": mover(disturbed),
        "a frame sent and fetched": sender(flown),
    }
    for name, call in timed.items():
        best = min(timeit.repeat(call, number=3000, repeat=5)) / 3000
        print(f"{name:28} {best * 1e6:7.2f} us")


if __name__ == "__main__":
    main()

"""How many seconds of a flight with dense telemetry the watch takes in a second of processor time.

    python tests/bench/drill.py [--messages 150] [--rounds N]

A simulated delivery is flown once, with its rates raised until so many messages come a second; then its bytes are
run through the engine with the shipped rules and the crew's files. Only the watch is timed, not the simulator.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run as a script from anywhere

from simulators.flown.scenario import FlownScenario
from simulators.flown.telemetry import RATES_HZ
from simulators.scenario import find, load
from watchkeeper.cli.drill_flight import begin, start_us
from watchkeeper.cli.inputs import load_crew_files, load_rules
from watchkeeper.engine import Engine

SCENARIO = "network-link"  # a radio would not carry so many


def flown(messages: float) -> tuple[list[tuple[float, bytes]], FlownScenario]:
    """Fly the scenario with about so many messages a second; return times and bytes."""
    scenario = load(find(SCENARIO))
    assert isinstance(scenario, FlownScenario)
    usual = sum(RATES_HZ.values())
    quick = {"ATTITUDE", "GLOBAL_POSITION_INT", "VFR_HUD", "GPS_RAW_INT", "BATTERY_STATUS", "SYS_STATUS"}
    more = messages - usual
    share = 1.0 + more / sum(RATES_HZ[name] for name in quick)
    rates = {name: min(50.0, RATES_HZ[name] * share) for name in quick}
    # what the quick ones cannot take at 50 Hz goes to the inertial and channel messages
    left = messages - sum({**RATES_HZ, **rates}.values())
    for name in ("RC_CHANNELS", "SERVO_OUTPUT_RAW", "VIBRATION", "ESTIMATOR_STATUS"):
        rates[name] = RATES_HZ[name] + max(0.0, left) / 4
    scenario = FlownScenario(
        scenario.written.model_copy(update={"rates_hz": rates}), scenario.aircraft, scenario.sortie
    )
    begin_us = start_us(scenario)
    flight = begin(scenario, 1)
    return [((begin_us + round(sent.time_s * 1e6)) / 1e6, sent.data) for sent in flight.frames()], scenario


def main() -> int:
    """Time it."""
    parser = argparse.ArgumentParser(description="The watch over a flight with dense telemetry.")
    parser.add_argument("--messages", type=float, default=150.0, help="messages a second (150)")
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    sent, scenario = flown(given.messages)
    files, sortie = load_crew_files([scenario.aircraft] if scenario.aircraft else [], scenario.sortie)
    rules = load_rules([], sortie=sortie, sortie_path=scenario.sortie)
    best_s = float("inf")
    for _ in range(given.rounds):
        engine = Engine(rules, files, sortie)
        began_s = time.process_time()
        for stamp_s, data in sent:
            engine.receive("drill", data, stamp_s)
        best_s = min(best_s, time.process_time() - began_s)
    flight_s = engine.elapsed_s
    print(f"{len(sent) / flight_s:.0f} messages a second: {flight_s / best_s:,.0f} s of flight a second")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Functions over time: 80 % of the window spanned, three samples, a held value is one (rule-pack contract)."""

from __future__ import annotations

import math
import random
from statistics import fmean, linear_regression

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.rules.condition import View
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.verdict import Verdict
from watchkeeper.rules.window import MOST, UNWATCHED_US, Window

MET, NOT_MET, BLIND, FAULT = Verdict.MET, Verdict.NOT_MET, Verdict.BLIND, Verdict.FAULT
VOLTAGE = INDEX["battery.voltage"]


class Watch:
    """A condition on battery.voltage, fed by the second."""

    def __init__(self, text: str) -> None:
        self.condition = compile_condition(text, {})
        self.view = View(Readings(), 0, self.condition.new_windows())
        self.stream = Stream()

    def give(self, now_s: float, value: float | None) -> Verdict:
        self.stream.mark(round(now_s * 1e6))
        self.view.readings.put(VOLTAGE, value, self.stream)
        return self.judge(now_s)

    def judge(self, now_s: float) -> Verdict:
        self.view.now_us = round(now_s * 1e6)
        return self.condition.evaluate(self.view)


def test_blind_until_four_fifths_are_spanned() -> None:
    watch = Watch("average(battery.voltage, 10 s) > 1 V")
    verdicts = [watch.give(float(t), 5.0) for t in range(10)]
    assert verdicts == [BLIND] * 8 + [MET] * 2  # samples at 0 and 8 s span 80 %


def test_blind_until_three_samples() -> None:
    watch = Watch("average(battery.voltage, 4 s) > 1 V")
    assert watch.give(0, 5.0) is BLIND
    assert watch.give(3.6, 5.0) is BLIND
    assert watch.give(3.8, 5.0) is MET


def test_a_held_value_is_one_sample() -> None:
    watch = Watch("average(battery.voltage, 4 s) > 1 V")
    watch.give(0, 5.0)
    watch.give(2, 5.0)
    assert [watch.judge(2 + i / 10) for i in range(20)] == [BLIND] * 20
    assert watch.give(4, 5.0) is MET


def test_average_of_the_last_seconds_only() -> None:
    watch = Watch("average(battery.voltage, 4 s) == 7 V")
    for t in range(5):
        watch.give(float(t), 100.0)
    verdicts = [watch.give(float(t), 7.0) for t in range(5, 11)]
    assert verdicts == [NOT_MET] * 4 + [MET] * 2  # at 9 s the window holds 5 to 9 s


@pytest.mark.parametrize("seed", range(5))
def test_average_and_slope_agree_with_the_standard_library(seed: int) -> None:
    chance = random.Random(seed)
    window = Window(60_000_000)
    times = sorted({round(chance.uniform(0, 60e6)) for _ in range(100)} | {0, 60_000_000})
    values = [12 + 3e-8 * t + chance.gauss(0, 1) for t in times]
    for count, (time_us, value) in enumerate(zip(times, values, strict=True)):
        window.add(count, time_us, value)
    kept = list(window.samples)  # samples closer than a 60th of the window are thinned
    assert 30 < len(kept) <= MOST + 1
    assert window.ready(60_000_000)
    fit = linear_regression([t / 1e6 for t, _ in kept], [v for _, v in kept])
    assert window.slope() == pytest.approx(fit.slope, rel=1e-9)
    assert window.average() == pytest.approx(fmean(v for _, v in kept), rel=1e-12)


def test_slope_has_the_unit_of_its_reading_per_second() -> None:
    # 0.5 V a minute
    for limit, expected in (("0.49 V / 1 min", MET), ("0.51 V / 1 min", NOT_MET), ("8 mV / 1 s", MET)):
        watch = Watch(f"slope(battery.voltage, 60 s) > {limit}")
        verdicts = [watch.give(t * 1.0, 40 + t * 0.5 / 60) for t in range(61)]
        assert verdicts[-1] is expected


def test_slope_of_a_level_compares_with_decibels_a_minute() -> None:
    margin = INDEX["link.margin"]
    for limit, expected in (("-7.9 dB/min", MET), ("-8.1 dB/min", NOT_MET)):
        condition = compile_condition(f"slope(link.margin, 30 s) < {limit}", {})
        view = View(Readings(), 0, condition.new_windows())
        stream = Stream()
        verdict = BLIND
        for t in range(31):
            view.now_us = t * 1_000_000
            stream.mark(view.now_us)
            view.readings.put(margin, 30 - 8 * t / 60, stream)
            verdict = condition.evaluate(view)
        assert verdict is expected


def test_blind_while_its_source_is_blind_and_seeing_again_at_once_after_a_short_gap() -> None:
    watch = Watch("average(battery.voltage, 100 s) > 1 V")
    for t in range(91):
        watch.give(float(t), 5.0)
    assert watch.judge(94) is MET
    assert watch.judge(96) is BLIND  # battery.voltage lives 5 s at one message a second
    assert watch.give(97, 5.0) is MET
    assert watch.judge(180) is BLIND
    assert watch.give(198, 5.0) is BLIND  # what came before the gap has dropped out by its age


def test_not_a_number_is_a_fault_and_never_enters_the_window() -> None:
    watch = Watch("average(battery.voltage, 4 s) > 1 V")
    for t in range(5):
        watch.give(float(t), 5.0)
    assert watch.give(4.5, math.nan) is FAULT
    assert watch.give(5, 5.0) is MET


@pytest.mark.parametrize("function", ["average", "slope"])
def test_values_too_large_to_add_are_a_fault(function: str) -> None:
    unit = "V" if function == "average" else "V / 1 s"
    watch = Watch(f"{function}(battery.voltage, 4 s) > 1 {unit}")
    assert [watch.give(float(t), 1e308 * (-1) ** t) for t in range(0, 9, 2)][-1] is FAULT


def test_a_window_is_bounded_in_memory() -> None:
    window = Window(600_000_000)
    for i in range(100_000):
        window.add(i, i * 6_000, float(i))
    assert window.ready(600_000_000)
    assert len(window.samples) <= MOST + 1


def test_lasting_is_met_after_its_span_without_interruption() -> None:
    watch = Watch("lasting(battery.voltage > 1 V, 5 s)")
    assert [watch.give(t * 1.0, 2.0) for t in range(7)] == [NOT_MET] * 5 + [MET] * 2
    assert watch.give(7, 0.5) is NOT_MET
    assert [watch.give(t * 1.0, 2.0) for t in range(8, 14)] == [NOT_MET] * 5 + [MET]


@pytest.mark.parametrize(("value", "verdict"), [(None, BLIND), (math.nan, FAULT)])
def test_lasting_is_interrupted_by_what_cannot_be_seen(value: float | None, verdict: Verdict) -> None:
    watch = Watch("lasting(battery.voltage > 1 V, 5 s)")
    for t in range(6):
        watch.give(float(t), 2.0)
    assert watch.give(6, value) is verdict
    assert watch.give(7, 2.0) is NOT_MET
    assert [watch.give(t * 1.0, 2.0) for t in range(8, 13)][-1] is MET


def test_lasting_begins_anew_when_nobody_judged_it_for_a_while() -> None:
    watch = Watch("lasting(battery.voltage > 1 V, 5 s)")
    for t in range(6):
        watch.give(float(t), 2.0)
    back_s = 5 + UNWATCHED_US / 1e6 + 0.1
    assert watch.give(back_s, 2.0) is NOT_MET


def test_lasting_runs_on_with_a_countdown_between_messages() -> None:
    turn_back = INDEX["return.turn_back_in"]
    condition = compile_condition("lasting(return.turn_back_in < 10 s, 1 s)", {})
    view = View(Readings(), 0, condition.new_windows())
    stream = Stream()
    stream.mark(0)
    view.readings.put(turn_back, 11.0, stream)
    verdicts = []
    for tenth in range(30):
        view.now_us = tenth * 100_000
        verdicts.append(condition.evaluate(view))
    assert verdicts.index(MET) == 21  # under 10 s first at 1.1 s, and then for one second


def test_age_counts_from_the_last_message() -> None:
    watch = Watch("age(battery.voltage) > 4 s")
    assert watch.judge(10) is BLIND
    watch.give(10, 5.0)
    assert watch.judge(14) is NOT_MET
    assert watch.judge(14.1) is MET


def test_each_function_keeps_its_own_history() -> None:
    watch = Watch("average(battery.voltage, 2 s) > average(battery.voltage, 8 s)")
    assert watch.condition.windows == 2
    assert [watch.give(t * 1.0, t * 1.0) for t in range(9)][-1] is MET

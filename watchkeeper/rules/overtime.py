"""The parts of conditions that look at time: age, average, slope, lasting.

A window takes a sample only when a message brought one, so a held value counts once. While its source is
blind the function is blind too, whatever the window still holds: an average must not go on vouching for what
nobody sees. The samples kept are dropped by their own age, so a short gap does not empty the window.
"""

from __future__ import annotations

import math
from typing import Any

from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.rules.condition import View, always
from watchkeeper.rules.nodes import Number, Truth
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import Kind


def age(index: int, kind: Kind) -> Number:
    """Return the seconds since the reading last came; blind if it never came."""

    def value(view: View) -> Any:
        stream = view.readings.streams[index]
        return BLIND if stream is None else (view.now_us - stream.time_us) / 1e6

    return Number(kind, value, (index,), timed=True, aged=True, rate=1.0)


def over_window(slot: int, of: Number, kind: Kind, *, slope: bool) -> Number:
    """Return the average or slope of an expression over its window."""
    inner, sources = of.value, of.readings

    def value(view: View) -> Any:
        got = inner(view)
        if got is FAULT or got is BLIND:
            return got
        window = view.windows[slot]
        streams = view.readings.streams
        key = sum(stream.count for i in sources if (stream := streams[i]) is not None)
        window.add(key, view.now_us, got)
        if not window.ready(view.now_us):
            return BLIND
        result = window.slope() if slope else window.average()
        return result if math.isfinite(result) else FAULT

    return Number(kind, value, sources, timed=True, rate=None)


def lasting(slot: int, of: Truth) -> Truth:
    """Return whether a condition has been met without interruption for its span."""
    inner = of.judge

    def judge(view: View) -> Verdict:
        verdict = inner(view)
        state = view.windows[slot]
        if verdict is not Verdict.MET:
            state.interrupted()
            return verdict
        return Verdict.MET if state.met(view.now_us) else Verdict.NOT_MET

    return Truth(judge, of.readings, timed=True, deciding=of.deciding, missing=of.missing, due=always)

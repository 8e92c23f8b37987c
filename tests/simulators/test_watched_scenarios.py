"""Every shipped scenario under the eyes of the watch: what has to be called is, in time, nothing else is urgent.

What a scenario's fault has to bring about, and by when, stands in the scenario. What else may be said above an
advisory stands here, each with its reason: it is right, and somebody who looks at the sky wants to know it.
"""

from __future__ import annotations

import pytest

from simulators.scenario import list_scenarios
from tests.simulators.watched import watch
from watchkeeper.alerts.events import Level
from watchkeeper.alerts.measures import measure

ALSO: dict[str, dict[str, str]] = {
    "control-lost": {
        "returns-by-itself": "it does: its own action on the lost control",
        "control-silent": "landed, and the control is off before the aircraft",
    },
    "fence-breached": {
        "boundary-left": "the sortie's boundary is where the aircraft's fence is",
        "returns-by-itself": "it does: its own action on the breach",
        "aircraft-cautions": "its own words on the breach, in the second after it",
    },
    "four-faults": {"return-now": "the crew turns back 14 s after the last good moment"},
    "half-full-and-far": {
        "return-now": "the crew turns back late",
        "gauge-disagrees": "its gauge counts by a current sensor that shows half",
        "battery-low": "it lands with less than a quarter",
        "aircraft-on-battery": "its own words, before the watch's own call",
        "battery-says-low": "the battery's own words",
    },
    "headwind-home": {
        "pack-cold": "the packs have 3 degrees at take-off",
        "return-now": "the crew turns back late",
        "aircraft-on-battery": "its own words, before its own action",
        "battery-says-low": "the battery's own words",
        "battery-low": "it lands with less than a quarter",
    },
    "low-approach": {
        "return-reserve": "it takes off with 37 %, a third of it the reserve",
        "return-now": "nobody turns back",
        "battery-low": "under a quarter before the approach",
        "lands-by-itself": "it does: its own low-battery landing",
    },
    "motor-stops": {"motor-stopped": "the more urgent half of the same"},
    "motor-stops-heavy": {"motor-balance": "the less urgent half of the same"},
    "motors-stop-in-the-air": {"aircraft-warns": "its own words: motors stopped, struck the ground"},
    "position-lost": {"drift": "it drifts with the wind"},
    "position-pulled": {
        "position-lost": "its filter gives the position up in the end",
        "drift": "then it drifts with the wind",
    },
    "return-below-the-ridge": {
        "obstacle-ahead": "it flies at the ridge",
        "obstacle-now": "it strikes it some seconds later",
        "aircraft-warns": "its own words: it struck something",
    },
    "return-does-not-close": {
        "return-reserve": "the wind passes what its tilt can hold against: no way home until it comes lower",
        "return-now": "the same",
        "home-unreachable": "the same, a little later",
    },
    "ridge-shadow": {
        "return-too-low": "its return height does not clear the ridge",
        "link-blocked": "the same, some seconds before the trend shows it",
    },
    "satellites-jammed": {"drift": "it drifts with the wind while nothing holds its position"},
    "wind-overpowers": {
        "hold-moves-away": "it is carried off",
        "return-reserve": "there is no way home in that wind",
        "return-now": "the same",
        "home-unreachable": "the same: the flight turned back after the first call is still in the air at the end",
    },
    "wind-turns": {"gust-high": "the gust front comes a second before the mean wind"},
}
LATE = {"heavy-load-picked-up": 2.0}
"""By how much, s, the watch is known to come later than it should (DEVELOPERS.md)."""
CALM = frozenset(
    {
        "calm", "quiet-delivery", "line-delivery", "windy-day", "old-packs", "hand-over", "slope-survey",
        "slow-radio", "network-link", "traffic-passes", "open-practice",
    }
)  # fmt: skip
"""Nothing is wrong in these."""


@pytest.mark.parametrize("name", list_scenarios())
def test_what_has_to_be_called_is_in_time_and_nothing_else_is_urgent(name: str) -> None:
    seen = watch(name)
    late = [
        (one.rule, one.begins, one.by, seen.called_s(one))
        for one in seen.expect
        if (called_s := seen.called_s(one)) is None or called_s > one.by + LATE.get(name, 0.0)
    ]
    assert late == []
    assert bool(seen.expect) is (name not in CALM)
    unexpected = [(at_s, one.rule) for at_s, one in seen.urgent() if one.rule not in ALSO.get(name, {})]
    assert unexpected == []
    end_us = round(seen.duration_s * 1e6)
    found = measure(seen.changes, 0, end_us, standing_us=end_us)
    assert not found.chattering
    assert found.most_in_window < 10, "a flood"
    if name in CALM:
        assert [one.rule for _, one in seen.told() if one.level is not Level.ADVISORY] == []


def test_the_list_of_what_else_is_said_names_shipped_scenarios_only() -> None:
    assert set(ALSO) | CALM <= set(list_scenarios())

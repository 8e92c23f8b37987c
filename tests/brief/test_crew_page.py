"""The crew's page: what the aircraft is set to do beside what the crew does, and what nobody watches."""

from __future__ import annotations

import pytest

from tests.brief.aday import UNTOLD, carrier, sortie, stage, told, with_stages
from watchkeeper.aircraft.vocabulary import Setting
from watchkeeper.brief.crew import CAUTIONS, ROLES, blind, crew_today
from watchkeeper.brief.findings import Emergency


def card(**settings: Setting) -> dict[str, Emergency]:
    stages = (stage("voltage", 44.0), stage("gauge", "off"), stage("voltage", 42.0, action="land"))
    found = crew_today(carrier(), sortie(), with_stages(*stages, **settings))
    return {one.failure: one for one in found.emergencies}


def test_roles_checklist_and_cautions() -> None:
    found = crew_today(carrier(), sortie(checklist=["rotor latches", "pack connectors"]), None)
    assert [name for name, _ in found.roles] == ["pilot", "observer", "command post"]
    assert found.roles == ROLES
    assert found.checklist == ("rotor latches", "pack connectors")
    # customary only (facts, section 3): metres and feet apart, and over 25 kg outside the small ones' rules
    assert "120 m, or 400 ft" in " ".join(CAUTIONS)
    assert "25 kg" in " ".join(CAUTIONS)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"control_lost_action": told("return"), "control_lost_s": told(1.5)}, "after 1.5 s returns home"),
        ({"control_lost_action": told("land"), "control_lost_s": UNTOLD}, "lands where it is; when is not known"),
        (
            {"control_lost_action": told("return"), "control_lost_s": told("off")},
            "does nothing: that fail-safe is off",
        ),
        ({"control_lost_action": UNTOLD, "control_lost_s": told("off")}, "does nothing: that fail-safe is off"),
        ({"control_lost_action": UNTOLD, "control_lost_s": told(2.0)}, "not known: not seen"),
        ({"control_lost_action": told("stop_motors"), "control_lost_s": told(0.0)}, "after 0 s stops its motors"),
    ],
)
def test_what_the_aircraft_does_by_itself(settings: dict[str, Setting], words: str) -> None:
    assert card(**settings)["control link lost"].aircraft.startswith(words)


def test_low_battery_stages_in_words() -> None:
    assert card()["low battery"].aircraft == "at 44 V returns home; at 42 V lands where it is"
    page = crew_today(carrier(), sortie(), with_stages(stage("gauge", "off")))
    assert next(one for one in page.emergencies if one.failure == "low battery").aircraft == (
        "does nothing: no stage is on"
    )


def test_nothing_seen_is_said() -> None:
    page = crew_today(None, sortie(), None)
    known = {one.failure: one.aircraft for one in page.emergencies}
    assert known["control link lost"] == "not known: its parameters were not seen"
    assert known["traffic"] == ""
    assert all(one.crew for one in page.emergencies)


def test_what_the_crew_has_agreed_goes_before_custom() -> None:
    agreed = {"Low Battery": "land on the meadow", "bees": "walk away"}
    page = crew_today(carrier(), sortie(emergencies=agreed), None)
    found = {one.failure: one.crew for one in page.emergencies}
    assert found["low battery"] == "land on the meadow"
    assert found["bees"] == "walk away"
    assert list(found)[-1] == "bees"
    assert len(found) == len(page.emergencies)


def test_what_the_watch_will_not_see() -> None:
    bare = " / ".join(blind(None, sortie(weather={}), None))
    for words in (
        "names no cells", "low-battery action", "obstacles", "ground", "boundary", "where else it can land",
        "wind", "radio.control", "traffic", "people, birds, wires",
    ):  # fmt: skip
        assert words in bare
    two = carrier(packs={"monitors": {}})
    assert "which pack is which: the aircraft file names no monitors" in blind(two, sortie(), None)
    told_all = sortie(
        obstacles=[{"name": "mast", "at": [1.25, -31.5], "height": "42 m"}],
        ground=[{"at": [1.25, -31.5], "height": "3 m"}],
        landing_places=[{"name": "meadow", "at": [1.25, -31.5]}],
        areas=[{"name": "in", "kind": "boundary", "points": [[1.2, -31.5], [1.3, -31.5], [1.3, -31.4]]}],
        radio={"control": "same"},
    )
    left = blind(carrier(), told_all, with_stages())
    assert len(left) == 2  # what is never seen: traffic, and people and wires

"""What a loaded rule is; settings and their overrides; rules that replace others; the shipped packs."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import INDEX, PHASES
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.errors import BadInputError
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.condition import View
from watchkeeper.rules.levels import Level
from watchkeeper.rules.load import RuleSet, load_packs
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.verdict import Verdict
from watchkeeper.rules.wording import callout_faults

TEXT = """\
pack: cells
about: a test pack
settings: {floor: 3.3 V}
rules:
  - id: low-cell
    level: warning
    when: >-
      battery.cell_voltage
      < floor
    clear: battery.cell_voltage > floor + 0.1 V
    on_delay: 500 ms
    off_delay: 1 min
    during: [in_flight, armed]
    say: "Battery. Under {floor:.1} volts. Land now."
    repeat: 15 s
    latch: true
    trial: true
    mutes: [odd-cell]
    why: a test
    cases:
      - given: {battery.cell_voltage: 3200 mV, satellites.used: 9}
        sample: 1 s
        until: 8 s
        expect: met
      - given: {battery.cell_voltage: [[0, 3.5 V], [2, not a number], [3, missing]], flight.phase: missing}
        expect: not met
  - id: odd-cell
    level: advisory
    when: battery.imbalance > 0.2 V
    caused_by: [low-cell]
    say: "Battery. Cells differ."
    why: a test
    cases:
      - {given: {battery.imbalance: 0.3 V}, expect: [[0, raised], [4, cleared]]}
      - {given: {battery.imbalance: 0.1 V}, expect: []}
"""
OURS = """\
pack: ours
about: a crew's own
rules:
  - id: ID
    level: caution
    replaces: low-cell
    when: battery.cell_voltage < 3.6 V
    say: "Battery. Low. Land soon."
    why: a test
    cases:
      - {given: {battery.cell_voltage: 3.5 V}, expect: met}
      - {given: {battery.cell_voltage: 3.7 V}, expect: not met}
"""


def load(*texts: str, settings: dict[str, str] | None = None) -> RuleSet:
    return load_packs([(f"{i}.yaml", text) for i, text in enumerate(texts)], settings, settings_from="today.yaml")


def messages(*texts: str, settings: dict[str, str] | None = None) -> list[str]:
    with pytest.raises(BadInputError) as caught:
        load(*texts, settings=settings)
    return [str(fault) for fault in caught.value.faults]


def verdict(rule: Rule, **values: Any) -> Verdict:
    readings = Readings()
    stream = Stream()
    stream.mark(1)
    for name, value in values.items():
        readings.put(INDEX[name.replace("__", ".")], value, stream)
    return rule.when.evaluate(View(readings, 2, rule.when.new_windows()))


def test_a_rule_holds_what_was_written() -> None:
    rules = load(TEXT)
    rule = rules.by_id["low-cell"]
    assert rules.packs == ("cells",)
    assert (rule.pack, rule.subject, rule.level) == ("cells", "Battery", Level.WARNING)
    assert (rule.on_delay_us, rule.off_delay_us, rule.repeat_us) == (500_000, 60_000_000, 15_000_000)
    assert rule.during == {"taking_off", "airborne", "returning", "landing", "armed"}
    assert (rule.latch, rule.trial, rule.mutes, rule.caused_by, rule.replaces) == (
        True,
        True,
        ("odd-cell",),
        (),
        None,
    )
    assert rule.clear is not None
    assert rule.when.readings == rule.clear.readings == (INDEX["battery.cell_voltage"],)
    assert (rule.place.file, rule.place.line) == ("0.yaml", 14)
    odd = rules.by_id["odd-cell"]
    assert (odd.on_delay_us, odd.off_delay_us, odd.repeat_us, odd.clear) == (0, 0, None, None)
    assert odd.during == set(PHASES)
    assert odd.caused_by == ("low-cell",)


def test_cases_hold_series_in_the_unit_of_their_reading() -> None:
    cell, phase, used = INDEX["battery.cell_voltage"], INDEX["flight.phase"], INDEX["satellites.used"]
    first, second = load(TEXT).by_id["low-cell"].cases
    assert first.given == {cell: ((0.0, 3.2),), used: ((0.0, 9.0),)}
    assert (first.verdict, first.changes, first.sample_s, first.until_s) == (Verdict.MET, (), 1.0, 8.0)
    assert first.place == "0.yaml:21:9"
    (_, volts), (at_s, broken), (end_s, ended) = second.given[cell]
    assert (volts, at_s, end_s, ended) == (3.5, 2.0, 3.0, None)
    assert broken != broken  # not a number  # noqa: PLR0124
    assert second.given[phase] == ()
    assert (second.verdict, second.sample_s, second.until_s) == (Verdict.NOT_MET, 0.5, 6.0)
    raised, never = load(TEXT).by_id["odd-cell"].cases
    assert (raised.verdict, raised.changes, raised.until_s) == (None, ((0.0, "raised"), (4.0, "cleared")), 7.0)
    assert (never.verdict, never.changes) == (None, ())


def test_settings_are_overridden_by_name_in_any_unit_of_their_kind() -> None:
    low = load(TEXT).by_id["low-cell"]
    assert verdict(low, battery__cell_voltage=3.4) is Verdict.NOT_MET
    high = load(TEXT, settings={"floor": "3500 mV"}).by_id["low-cell"]
    assert verdict(high, battery__cell_voltage=3.4) is Verdict.MET
    assert high.say.render(lambda _: None) == "Battery. Under 3.5 volts. Land now."


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"flor": "3 V"}, "today.yaml: no rule pack has a setting 'flor'; did you mean 'floor'?"),
        ({"floor": "3 m"}, "today.yaml: setting 'floor': '3 m' is in m; give it in V"),
        ({"floor": "3"}, "today.yaml: setting 'floor': '3' is without a unit; give it in V"),
        ({"floor": "low"}, "today.yaml: setting 'floor': 'low' is not a number with a unit; write it like '5 V'"),
        ({"floor": "1e999 V"}, "today.yaml: setting 'floor': '1e999 V' is too large; write a number in V"),
    ],
)
def test_overrides_at_fault_are_told_where_they_stand(settings: dict[str, str], message: str) -> None:
    assert messages(TEXT, settings=settings) == [message]


def test_an_override_at_fault_is_told_once_for_all_packs() -> None:
    second = OURS.replace("    replaces: low-cell\n", "").replace("rules:", "settings: {floor: 3 V}\nrules:")
    assert messages(TEXT, second.replace("ID", "x"), settings={"floor": "3 m"}) == [
        "today.yaml: setting 'floor': '3 m' is in m; give it in V"
    ]


def test_what_a_pack_that_cannot_be_read_may_hold_is_not_called_missing() -> None:
    found = messages(TEXT.replace("mutes: [odd-cell]", "mutes: [far]"), "rules: [", settings={"far": "3 V"})
    assert [message.split(":")[0] for message in found] == ["1.yaml"]


def test_a_setting_is_seen_in_its_own_pack_only_and_has_one_kind_everywhere() -> None:
    second = OURS.replace("replaces: low-cell\n", "trial: true\n").replace("ID", "other").replace("3.6 V", "floor")
    assert messages(TEXT, second) == ["1.yaml:7:34: unknown setting 'floor'; see 'watchkeeper rules list'"]
    same = second.replace("rules:", "settings: {floor: 3.1 V}\nrules:")
    assert verdict(load(TEXT, same).by_id["other"], battery__cell_voltage=3.2) is Verdict.NOT_MET
    other = second.replace("rules:", "settings: {floor: 3 m}\nrules:").replace("< floor", "< 3 V")
    assert messages(TEXT, other) == ["1.yaml:3:19: 'floor' is m here and V in 0.yaml; use another name"]


def test_a_rule_replaces_another_under_its_own_id() -> None:
    rules = load(TEXT, OURS.replace("ID", "low-cell"))
    assert [rule.id for rule in rules.rules] == ["odd-cell", "low-cell"]
    assert rules.by_id["low-cell"].pack == "ours"


def test_what_named_the_replaced_rule_names_the_one_that_replaces_it() -> None:
    rules = load(TEXT, OURS.replace("ID", "our-cell"), OURS.replace("ID", "last").replace("low-cell", "our-cell"))
    assert [rule.id for rule in rules.rules] == ["odd-cell", "last"]
    assert rules.by_id["odd-cell"].caused_by == ("last",)


def test_a_new_rule_may_take_the_id_of_a_replaced_one() -> None:
    fresh = OURS.replace("ID", "low-cell").replace("    replaces: low-cell\n", "")
    rules = load(TEXT, OURS.replace("ID", "our-cell"), fresh)
    assert [rule.id for rule in rules.rules] == ["odd-cell", "our-cell", "low-cell"]
    assert rules.by_id["odd-cell"].caused_by == ("low-cell",)


def test_only_one_rule_replaces_another() -> None:
    texts = (TEXT, OURS.replace("ID", "one"), OURS.replace("ID", "two"))
    assert messages(*texts) == ["2.yaml:6:15: there is no rule 'low-cell' to replace; 'one' has replaced it"]


def test_packs_are_taken_whole_or_not_at_all() -> None:
    with pytest.raises(BadInputError):
        load(TEXT, OURS.replace("ID", "fine").replace("3.6 V", "3.6 m"))


def test_no_packs_are_no_rules() -> None:
    assert load_packs([]).rules == ()


def shipped() -> RuleSet:
    return load_packs([(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))])


def test_shipped_packs_load_and_keep_the_grammar_of_callouts() -> None:
    rules = shipped()
    heart = {
        *("return-reserve", "return-now", "home-unreachable", "link-trend", "link-lost", "satellite-loss"),
        "voltage-sag",
    }  # the rules at the heart, named in the rule-pack contract
    assert heart <= rules.by_id.keys()
    assert [fault for rule in rules.rules for fault in callout_faults(rule)] == []
    warnings = {rule.id for rule in rules.rules if rule.level is Level.WARNING}
    assert warnings & heart == {"return-now", "home-unreachable", "link-lost"}


def test_the_grammar_is_found_as_a_resource_of_the_package() -> None:
    assert files("watchkeeper.rules").joinpath("grammar.lark").is_file()

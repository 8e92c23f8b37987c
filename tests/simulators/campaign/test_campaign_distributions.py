"""The file that a campaign draws from: the shipped one, and every mistake told with its place and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulators.campaign.distributions import NEEDS, SHIPPED, read
from simulators.campaign.floors import _FLOORS
from tests.simulators.campaign.campaigning import GOOD, shipped, written
from watchkeeper.errors import BadInputError

PULLED = "by: {at_s: [60, 300], speed_m_s: [0.5, 3]}"


def told(path: Path) -> list[str]:
    """Return what is said of a bad file, without the folder's name."""
    with pytest.raises(BadInputError) as raised:
        read(path)
    return [str(fault).replace(str(path), "drawn.yaml") for fault in raised.value.faults]


def line_of(text: str) -> int:
    """Return the line of the shipped file on which a text stands first, from 1."""
    return GOOD[: GOOD.index(text)].count("\n") + 1


def test_the_shipped_file_has_every_kind_that_there_is_a_floor_for() -> None:
    found = shipped()
    assert {one.kind for one in found.faults} == set(NEEDS) == set(_FLOORS)
    assert found.flight.wind_m_s == (0.0, 9.0)
    assert found.fault("pack opens").within_s == 15.0
    assert 0 < found.no_fault < 1


def test_a_kind_that_is_not_in_the_file_has_no_keys() -> None:
    assert [one.kind for one in shipped().faults].count("restart") == 1
    with pytest.raises(KeyError):
        shipped().fault("tea runs out")


@pytest.mark.parametrize(
    ("old", "new", "at", "says"),
    [
        ("wind_m_s: [0, 9]", "wind_m_s: [9, 0]", "wind_m_s:",
         "wind_m_s: 9 is above 0; write the lower end first: [0, 9]"),
        ("wind_m_s: [0, 9]", "wind_m_s: [0, 26]", "wind_m_s:", "wind_m_s: has to lie within 0 and 25; correct it"),
        ("load_kg: [0, 14]", "load_kg: [-1, 14]", "load_kg:", "load_kg: has to lie within 0 and 40; correct it"),
        ("cycles: [0, 220]", "cycles: 100", "cycles:", "cycles: has to be a list; write it like [ … ]"),
        ("cycles: [0, 220]", "cycles: [1]", "cycles:", "cycles: value 2 is missing; give all values"),
        ("cycles: [0, 220]", "cycles: [0, 1, 2]", "cycles:",
         "cycles: holds 3, has to hold at most 2; take some out"),
        ("cycles: [0, 220]", "cycles: [0, many]", "cycles:", "cycles: has to be a valid number; correct it"),
        ("cycles: [0, 220]", "cycels: [0, 220]", "cycles:", "unknown key 'cycels'; did you mean 'cycles'?"),
        ("cycles: [0, 220]", "", "  wind_m_s:", "'cycles' is missing; add 'cycles: …'"),
        ("no_fault: 0.4", "no_fault: 1.4", "no_fault:", "no_fault: has to be less than or equal to 1; correct it"),
        ("no_fault: 0.4", "no_fault:", "no_fault:", "'no_fault' has no value; give it one, or take it out"),
        ("weight: 7", "weight: 0", "weight: 7", "weight: has to be greater than 0; correct it"),
        ("within_s: 120", "within_s: -3", "within_s: 120", "within_s: has to be greater than 0; correct it"),
        (PULLED, "by: {at_s: [60, 300], speed_m_s: [3, 0.5]}", PULLED,
         "speed_m_s: 3 is above 0.5; write the lower end first: [0.5, 3]"),
        (PULLED, "by: {at_s: [60, 300], speed_m_s: [0.5, 30]}", PULLED,
         "speed_m_s: has to lie within 0 and 20; correct it"),
        (PULLED, "by: {at_s: [60, 300], sped_m_s: [0.5, 3]}", PULLED,
         "'position pulled' draws no 'sped_m_s'; did you mean 'speed_m_s'?"),
        (PULLED, "by: {at_s: [60, 300]}", PULLED,
         "'position pulled' draws 'speed_m_s', which is missing; add 'speed_m_s: [ … , … ]'"),
        (PULLED, "by: {at_s: [60, 300], speed_m_s: [0.5, 3], colour: [1, 2]}", PULLED,
         "'position pulled' draws no 'colour'; it draws at_s, speed_m_s"),
        ("kind: restart", "kind: motors stop", "kind: restart", "'motors stop' is given twice; keep one"),
        ("kind: restart", "kind: restrat", "kind: restart", "did you mean 'restart'?"),
        ("kind: restart", "kind: tea runs out", "kind: restart", "; correct it"),
        ("rules: [pack-open, packs-open, connection-opens, voltage-sag]", "rules: []", "rules: [pack-open",
         "rules: is empty, has to hold at least 1; add what is missing"),
        ("rules: [pack-open, packs-open, connection-opens, voltage-sag]", "rules: [Pack Open]",
         "rules: [pack-open", "rules: has to be small letters, digits and hyphens; write it like four-faults"),
        ("odd_orders: [213456,", "odd_orders: [12345,", "odd_orders:",
         "odd_orders: is no order of a return that lands at home; write digits like 123456"),
        ("odd_orders: [213456,", "odd_orders: [612345,", "odd_orders:", "is no order of a return"),
        ("odd_orders: [213456,", "odd_orders: [23456,", "odd_orders:", "is no order of a return"),
        ("odd_orders: [213456,", "odd_orders: [1234567,", "odd_orders:", "is no order of a return"),
        ("latitude_deg: [-60, 60]", "latitude_deg: [-61, 60]", "latitude_deg:", "within -60 and 60"),
        ("floor: always", 'floor: ""', "floor: always", "floor: is empty; write something"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_with_its_place_and_what_to_do(
    tmp_path: Path, old: str, new: str, at: str, says: str
) -> None:
    faults = told(written(tmp_path, (old, new)))
    assert says in faults[0]
    assert faults[0].split(":")[:2] == ["drawn.yaml", str(line_of(at))]


def test_an_unknown_kind_is_told_the_known_ones(tmp_path: Path) -> None:
    (fault,) = told(written(tmp_path, ("kind: restart", "kind: tea runs out")))
    assert all(kind in fault for kind in NEEDS)


def test_mistakes_are_told_together_in_the_order_of_the_file(tmp_path: Path) -> None:
    faults = told(
        written(tmp_path, ("wind_m_s: [0, 9]", "wind_m_s: [9, 0]"), ("load_kg: [0, 14]", "load_kg: [0, x]"))
    )
    assert [fault.split(":")[1] for fault in faults] == [str(line_of("wind_m_s")), str(line_of("load_kg"))]


@pytest.mark.parametrize("text", ["", "- 1\n- 2\n", "just words\n", "flight: [", "flight: {wind_m_s: *x}"])
def test_what_is_no_such_file_at_all_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "drawn.yaml"
    path.write_text(text, encoding="utf-8")
    assert told(path)[0].startswith("drawn.yaml:1:")


def test_what_cannot_be_read_is_told(tmp_path: Path) -> None:
    missing = tmp_path / "drawn.yaml"
    assert told(missing) == ["drawn.yaml: cannot read the distributions; name a YAML file in UTF-8"]
    assert told(tmp_path)[0].endswith(": cannot read the distributions; name a YAML file in UTF-8")
    missing.write_bytes(b"\xff\xfe\x00")
    assert told(missing) == ["drawn.yaml: cannot read the distributions; name a YAML file in UTF-8"]
    missing.write_bytes(b"#" * 200_000)
    assert told(missing) == ["drawn.yaml: too large for a file of distributions; at most 100000 bytes"]


def test_a_file_without_faults_draws_none(tmp_path: Path) -> None:
    path = tmp_path / "drawn.yaml"
    without = GOOD[: GOOD.index("faults:")]
    path.write_text(without.replace("no_fault: 0.4", "no_fault: 1") + "faults: []\n", encoding="utf-8")
    assert read(path).faults == []
    path.write_text(without + "faults: []\n", encoding="utf-8")
    assert told(path) == [
        f"drawn.yaml:{line_of('no_fault')}:11: there is no fault to draw; write 1, or add faults"
    ]


def test_the_shipped_file_is_where_it_is_looked_for() -> None:
    assert SHIPPED.name == "distributions.yaml"
    assert SHIPPED.is_file()

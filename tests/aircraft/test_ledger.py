"""The pack ledger's file: what it may hold, a bad example for every message, rewriting with the crew's hand."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.aircraft.labels import Labels
from watchkeeper.aircraft.ledger import (
    MAX_LABELS,
    Capacity,
    Ledger,
    PackEntry,
    Resistance,
    begin,
    entry_text,
    fitted_faults,
    ledger_text,
    read_ledger,
    rewritten,
)
from watchkeeper.documents import parse_document
from watchkeeper.errors import BadInputError

TEXT = """\
# kept by hand
ledger: packs of the ridge crew
packs:
  A1: {cycles: 61, capacity: 21.2 Ah, resistance: 16.1 mohm at 22 degC, seen: 2026-11-02}  # puffed a little
  A2: {cycles: 60}
  B1:
    cycles: 3 cycles
    capacity: 20 Ah within 400 mAh  # by the charger
  # new ones
  C1:
  "12": {}
"""
NEW = PackEntry().model_copy(
    update={
        "cycles": 61.663,
        "capacity": Capacity(21.0494, 0.8123),
        "resistance": Resistance(0.0158, -3.54),
        "seen": "2026-11-03",
    }
)
LINE = "{cycles: 61.66, capacity: 21.049 Ah within 0.812 Ah, resistance: 15.8 mohm at -3.5 degC, seen: 2026-11-03}"


def faults(text: str) -> list[str]:
    with pytest.raises(BadInputError) as caught:
        read_ledger(text, "packs.yaml")
    return [str(fault) for fault in caught.value.faults]


def test_every_key_is_read_with_its_unit_and_all_may_be_left_out() -> None:
    ledger = read_ledger(TEXT, "packs.yaml")
    assert ledger.about == "packs of the ridge crew"
    assert [*ledger.packs] == ["A1", "A2", "B1", "C1", "12"]
    a1 = ledger.packs["A1"]
    assert (a1.cycles, a1.capacity, a1.seen) == (61, Capacity(21.2, None), "2026-11-02")
    assert a1.resistance is not None
    assert tuple(a1.resistance) == pytest.approx((0.0161, 22))
    assert ledger.packs["A2"] == PackEntry().model_copy(update={"cycles": 60.0})
    b1 = ledger.packs["B1"]
    assert b1.cycles == 3
    assert b1.capacity is not None
    assert tuple(b1.capacity) == pytest.approx((20, 0.4))
    assert ledger.packs["C1"] == ledger.packs["12"] == PackEntry()
    told = read_ledger("packs: {A1: {resistance: 0.0161 ohm}}", "p").packs["A1"].resistance
    assert told is not None
    assert (round(told.ohm, 9), told.degc) == (0.0161, None)
    assert read_ledger("ledger: none yet", "p").packs == {}


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("packs: {A1: {cyles: 3}}", "packs.yaml:1:14: unknown key 'cyles'; did you mean 'cycles'?"),
        ("paks: {}", "packs.yaml:1:1: unknown key 'paks'; did you mean 'packs'?"),
        ("packs: {A1: {cycles: -3}}", "packs.yaml:1:22: '-3 cycles' is too small; give at least 0 cycles"),
        ("packs: {A1: {cycles: 3 Ah}}", "packs.yaml:1:22: '3 Ah' is in Ah; give it in cycles"),
        ("packs: {A1: {cycles: true}}", "packs.yaml:1:22: 'cycles' is not a quantity; "),
        ("packs: {A1: {capacity: 21.2}}", "packs.yaml:1:24: 'capacity' is not a quantity; write it like '21.2 Ah"),
        ("packs: {A1: {capacity: 21 Aj}}", "packs.yaml:1:24: unknown unit 'Aj'; did you mean"),
        ("packs: {A1: {capacity: -21 Ah}}", "packs.yaml:1:24: '-21 Ah' is out of range; give 0.01 to 1000 Ah"),
        ("packs: {A1: {capacity: 1e999 Ah}}", "packs.yaml:1:24: '1e999 Ah' is too large; "),
        ("packs: {A1: {capacity: 9 Ah within 0 Ah}}", "packs.yaml:1:24: '0 Ah' is out of range; "),
        ("packs: {A1: {capacity: 9 Ah within 10 Ah}}", "packs.yaml:1:24: '10 Ah' is out of range; "),
        ("packs: {A1: {resistance: 16 mohm at 22}}", "packs.yaml:1:26: '22' is without a unit; give it in degC"),
        ("packs: {A1: {resistance: 16 mohm at 300 degC}}", "packs.yaml:1:26: '300 degC' is out of range; "),
        ("packs: {A1: {resistance: 0 mohm}}", "packs.yaml:1:26: '0 mohm' is out of range; "),
        ("packs: {A1: {resistance: [1]}}", "packs.yaml:1:26: 'resistance' is not a quantity; "),
        ("packs: {A1: {seen: 2026-13-01}}", "packs.yaml:1:20: 'seen' is not a date; write it like 2026-11-02"),
        ("packs: {A1: {seen: 20261101}}", "packs.yaml:1:20: 'seen' is not a date; "),
        ("packs: {A1: {seen: 1970-01-01}}", "packs.yaml:1:20: '1970-01-01' lies in another century; "),
        ('packs: {"A\\n1": {}}', "packs.yaml:1:9: a label is empty, too long or not printable; "),
        ('packs: {"": {}}', "packs.yaml:1:9: a label is empty, too long or not printable; "),
        (f"packs:\n  {'x' * 81}: {{}}", "packs.yaml:2:3: a label is empty, too long or not printable; "),
        ("packs: {A1: {}, A1: {}}", "packs.yaml:1:17: 'A1' is given twice; keep one"),
        ("packs: [A1, A2]", "packs.yaml:1:8: 'packs' is not a group of keys and values; "),
        ("packs: {A1: 61}", "packs.yaml:1:13: is not a list of keys and values; "),
        ("ledger: [1]", "packs.yaml:1:9: 'ledger' is not a text; "),
        ("- A1", "packs.yaml:1:1: is not a list of keys and values; "),
        ("", "packs.yaml:1:1: is empty; "),
        ("packs: {A1: *a}", "packs.yaml:1:13: not YAML: aliases (*name) are not allowed; "),
        ("packs: {A1: {seen: !run x}}", "packs.yaml:1:20: tags (!name) are not allowed; "),
        ("\x00\x01", "packs.yaml:1:1: holds characters that YAML forbids; "),
        ("packs: " + "{a: " * 500, "packs.yaml:"),
        (
            "packs:\n" + "".join(f"  p{n}: {{}}\n" for n in range(MAX_LABELS + 1)),
            "packs.yaml:2:3: more than 500 packs; ",
        ),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else None,
)
def test_what_is_wrong_is_said_with_its_place(text: str, fault: str) -> None:
    found = faults(text)
    assert len(found) == 1
    assert found[0].startswith(fault)


def test_all_faults_are_told_at_once_in_their_order() -> None:
    text = "pack: 1\npacks:\n  A1: {cycle: 1}\n  A2: {seen: x, capacity: y}\n"
    assert [fault.split(" ")[0] for fault in faults(text)] == [
        "packs.yaml:1:1:", "packs.yaml:3:8:", "packs.yaml:4:14:", "packs.yaml:4:27:",
    ]  # fmt: skip


def test_a_huge_one_is_refused() -> None:
    assert "larger than" in faults("x" * 1_000_001)[0]


def test_a_ledger_that_is_begun_names_the_packs_and_nothing_else() -> None:
    text = begin(["A1", "12", "true", 'so "called"', "# 7"])
    assert read_ledger(text, "p") == Ledger(
        "packs of this crew", dict.fromkeys(["A1", "12", "true", 'so "called"', "# 7"], PackEntry())
    )
    assert not any(key in text for key in ("cycles", "capacity", "resistance", "seen"))


def test_rewriting_changes_the_named_packs_and_leaves_the_crews_hand() -> None:
    labels = ["A1", "B1", "C1", "12", "unheard of"]
    assert rewritten(TEXT, "p", dict.fromkeys(labels, NEW)) == (
        "# kept by hand\nledger: packs of the ridge crew\npacks:\n"
        f"  A1: {LINE}  # puffed a little\n"
        "  A2: {cycles: 60}\n"
        f"  B1:\n    {LINE}  # by the charger\n"
        "  # new ones\n"
        f"  C1: {LINE}\n"
        f'  "12": {LINE}\n'
    )


@pytest.mark.parametrize(
    "text",
    [
        "packs: {A1: {}, A2: {cycles: 5}}",
        "packs: {A1: , A2: {cycles: 5}}",
        "packs: {A1, A2: {cycles: 5}}",
        "packs:\r\n  A1: {}\r\n  A2: {cycles: 5}\r\n",
        "packs:\n  A1:\n  A2: {cycles: 5}",
        "packs:\n  ? A1\n  : cycles: 3\n  ? A2\n  : cycles: 5\n",
        '{"packs": {"A1": {"seen": "2026-01-01"}, "A2": {"cycles": 5}}}',
        "packs:\n  A1:\n    seen: |-\n      2026-01-01\n  A2: {cycles: 5}\n",
        "---\npacks:\n  A1: {cycles: 1,\n    seen: 2026-01-01,\n  }\n  A2:\n    cycles: 5\n...\n",
    ],
)
def test_however_it_was_laid_out_it_says_what_is_meant(text: str) -> None:
    again = read_ledger(rewritten(text, "p", {"A1": NEW}), "p")
    assert entry_text(again.packs["A1"]) == LINE
    assert (again.packs["A2"].cycles, [*again.packs]) == (5, ["A1", "A2"])


def test_what_is_no_ledger_is_not_rewritten() -> None:
    with pytest.raises(BadInputError, match="unknown key"):
        rewritten("packs: {A1: {cyles: 3}}", "p", {"A1": NEW})


LABELS = st.text(st.characters(blacklist_categories=("C", "Z"), max_codepoint=0xFFFF), min_size=1, max_size=20)


@settings(max_examples=40)
@given(
    st.dictionaries(
        LABELS,
        st.builds(
            lambda cycles, capacity, resistance, seen: PackEntry().model_copy(
                update={"cycles": cycles, "capacity": capacity, "resistance": resistance, "seen": seen}
            ),
            st.none() | st.floats(0, 10_000),
            st.none() | st.builds(Capacity, st.floats(0.1, 1000), st.none() | st.floats(0.001, 0.1)),
            st.none() | st.builds(Resistance, st.floats(0.0001, 2), st.none() | st.floats(-60, 100)),
            st.none() | st.dates().filter(lambda d: 2000 <= d.year <= 2099).map(str),
        ),
        max_size=5,
    )
)
def test_what_is_written_is_read_back_by_us_and_by_any_yaml(packs: dict[str, PackEntry]) -> None:
    text = ledger_text(Ledger("our own", packs))
    again = read_ledger(text, "p")
    assert {k: entry_text(v) for k, v in again.packs.items()} == {k: entry_text(v) for k, v in packs.items()}
    for label, entry in packs.items():
        if entry.cycles is not None:
            assert again.packs[label].cycles == pytest.approx(entry.cycles, abs=0.005)
    assert {str(label) for label in yaml.safe_load(text)["packs"]} == {*packs}  # PyYAML's own reading


def test_labels_of_a_sortie_are_held_against_the_ledger() -> None:
    ledger = read_ledger(TEXT, "p")

    def told(text: str, count: int | None = 2) -> list[str]:
        document = parse_document(text, "s.yaml")
        return [str(fault) for fault in fitted_faults(document, document.data.get("fitted", []), ledger, count)]

    assert told("fitted: [A1, A2]") == told("sortie: x") == told("fitted: [A1]", None) == []
    assert told("fitted: [A1,\n  A22]") == ["s.yaml:2:3: pack 'A22' is not in the ledger; did you mean 'A2'?"]
    assert told("fitted: [A1, zzz]") == [
        "s.yaml:1:14: pack 'zzz' is not in the ledger; add it to the ledger if it is new"
    ]
    assert told("fitted: [A1, A1]") == ["s.yaml:1:14: pack 'A1' is fitted twice; name each pack once"]
    assert told("fitted: [A1]") == [
        "s.yaml:1:9: 1 packs are fitted, the aircraft file has 2; correct it or 'count' in the aircraft file"
    ]
    document = parse_document("fitted: [new]", "s")
    assert fitted_faults(document, ["new"], None, 1) == []


def test_labels_hold_until_power_after_a_flight() -> None:
    labels = Labels(None, ["A1", "A2"])
    labels.powered_anew()
    assert (labels.fitted, labels.lost) == (("A1", "A2"), False)
    labels.flown = True
    labels.powered_anew()
    assert (labels.fitted, labels.lost) == ((), True)
    assert Labels(None, ["A1", "A1"]).fitted == ()

"""One broken pack for every message of the loader: its text, and the place to which its caret points."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.errors import BadInputError
from watchkeeper.rules.load import MAX_RULES, load_packs

SOUND = """\
pack: test
about: a test pack
settings: {floor: 3.3 V, late: 3 s}
rules:
  - id: low-cell
    level: caution
    when: battery.cell_voltage < floor
    clear: battery.cell_voltage > floor + 0.1 V
    on_delay: 1 s
    off_delay: 5 s
    during: [in_flight]
    say: "Battery. Low cell. Land soon."
    repeat: 30 s
    latch: false
    mutes: [odd-sag]
    why: a test
    cases:
      - given: {battery.cell_voltage: 3.2 V}
        expect: met
      - given: {battery.cell_voltage: [[0, 3.5 V], [2, missing]]}
        expect: []
  - id: odd-sag
    level: advisory
    when: battery.sag > 0.1 V
    caused_by: [low-cell]
    say: "Battery. Odd."
    why: a test
    cases:
      - given: {battery.sag: 0.2 V}
        expect: [[0, raised]]
      - given: {battery.sag: 0 V}
        expect: not met
  - id: armed-call
    level: routine
    when: flight.armed
    say: "Armed."
    why: a test
    cases:
      - given: {flight.armed: [[0, false], [1, true]]}
        expect: [[1, spoken]]
      - given: {flight.armed: false}
        expect: []
"""
KEYS = (
    "id, level, when, clear, on_delay, off_delay, during, say, repeat, every, latch, mutes, caused_by, trial,"
    " escalate, sterile, eyes, replaces, why, cases"
)
BOTH = "show one in which the rule is met and one in which it is not"
LIST = "see 'watchkeeper rules list'"
GROUP = "write it like {key: value}"
ID = "write it like voltage-sag, in at most 60 characters"
SET = "settings: {floor: 3.3 V, late: 3 s}"
SAY = 'say: "Battery. Low cell. Land soon."'
CASE = "given: {battery.cell_voltage: 3.2 V}"

# what of SOUND is put in place of what (^ marks the place that the fault points to), and the fault
BROKEN = [
    # the pack
    ("about: a test pack\n", "", "1:1", "'about' is missing", "add 'about: …'"),
    ("about: a", "^abuot: a", "", "unknown key 'abuot'", "did you mean 'about'?"),
    ("pack: test", "pack: ^''", "", "'pack' is empty", "write it as plain words"),
    ("about: a test pack", "about: ^3", "", "'about' is not a text", "write it as plain words"),
    ("about: a test pack", 'about: ^"\\e[2J"', "", "'about' is not printable",
     "write it as plain words"),
    ("  - id: low-cell\n", "  - ^id: low-cell\n    id: other\n", "dup", "'id' is given twice", "keep one"),
    # settings
    (SET, "settings: ^3", "", "'settings' is not a group of keys and values", "write it like {cell_floor: 3.3 V}"),
    (SET, "settings: {floor: 3.3 V, late: ^true}", "", "'late' is not a quantity",
     "write a number with a unit, like '3.3 V'"),
    (SET, "settings: {floor: 3.3 V, late: ^soon}", "", "'soon' is not a number with a unit",
     "write it like '3.3 V'"),
    (SET, "settings: {floor: 3.3 V, late: ^3 sx}", "", "unknown unit 'sx'", "did you mean 's'?"),
    (SET, "settings: {floor: 3.3 V, late: ^1e400 s}", "", "'1e400 s' is too large", "write a number in s"),
    (SET, "settings: {floor: 3.3 V, late: ^1e308 h}", "", "'1e308 h' is too large", "write a smaller one"),
    (SET, "settings: {floor: 3.3 V, ^Late: 3 s}", "", "'Late' is no name for a setting",
     "use one like cell_floor"),
    (SET, "settings: {floor: 3.3 V, ^and: 3 s}", "", "'and' is no name for a setting", "use one like cell_floor"),
    (SET, "settings: {floor: 3.3 V, ^average: 3 s}", "", "'average' is no name for a setting",
     "use one like cell_floor"),
    (SET, "settings: {floor: 3.3 V, ^link.age: 3 s}", "", "'link.age' is no name for a setting",
     "use one like cell_floor"),
    # keys of a rule
    ("    why: a test\n    cases:\n      - given: {battery.cell", "    cases:\n      - given: {battery.cell",
     "5:5",
     "'why' is missing", "add 'why: …'"),
    ("    repeat: 30 s", "    escalate: ^{after: 30 s}", "", "'to' is missing", "add 'to: …'"),
    ("    repeat: 30 s", "    escalate: {after: ^2 s, to: warning}", "",
     "'2 s' is too small", "give at least 5 s"),
    ("    repeat: 30 s", "    escalate: {after: 30 s, to: ^caution}", "",
     "escalates from caution to caution", "name a higher level, or leave 'escalate' out"),
    ("    repeat: 30 s", "    sterile: ^no", "", "unknown word 'no'", "use speaks, waits"),
    ("    repeat: 30 s", "    ^lath: true", "", "unknown key 'lath'", "did you mean 'latch'?"),
    ("    repeat: 30 s", "    ^wobble: true", "", "unknown key 'wobble'", f"known here: {KEYS}"),
    ("rules:\n", "sterile: ^position.hight < 5 m\nrules:\n", "", "unknown reading 'position.hight'",
     "did you mean 'position.height'?"),
    ("rules:\n", "sterile: ^average(position.height, 5 s) < 5 m\nrules:\n", "",
     "a sterile phase is told without functions over time", "leave them out"),
    ("    repeat: 30 s", "    ^repeats: 30 s", "", "unknown key 'repeats'", "did you mean 'repeat'?"),
    ("  - id: low-cell", "  - id: ^Low_Cell", "", "'id' is no id", ID),
    ("  - id: low-cell", "  - id: ^7", "", "'id' is no id", ID),
    ("  - id: low-cell", "  - id: ^low-cell-", "", "'id' is no id", ID),
    ("  - id: low-cell", "  - id: ^watch-blind", "", "'watch-blind' begins with watch-",
     "that is kept for the watch itself"),
    ("level: caution", "level: ^cautoin", "", "unknown word 'cautoin'", "did you mean 'caution'?"),
    ("level: caution", "level: ^red", "", "unknown word 'red'", "use warning, caution, advisory, routine"),
    ("on_delay: 1 s", "on_delay: ^1", "", "'1' is without a unit", "give it in s"),
    ("on_delay: 1 s", "on_delay: ^1 m", "", "'1 m' is in m", "give it in s"),
    ("on_delay: 1 s", "on_delay: ^-1 s", "", "'-1 s' is too small", "give at least 0 s"),
    ("off_delay: 5 s", "off_delay: ^11 min", "", "'11 min' is too large", "give at most 600 s"),
    ("repeat: 30 s", "repeat: ^4 s", "", "'4 s' is too small", "give at least 5 s"),
    ("latch: false", "latch: ^on", "", "'latch' is neither true nor false", "write true or false"),
    ("mutes: [odd-sag]", "mutes: ^odd-sag", "", "'mutes' is not a list of names", "write it like [one, two]"),
    ("mutes: [odd-sag]", "mutes: ^[7]", "", "'mutes' is not a list of names", "write it like [one, two]"),
    ("during: [in_flight]", "during: [^in_fligth]", "", "unknown phase 'in_fligth'", "did you mean 'in_flight'?"),
    ("during: [in_flight]", "during: [^up]", "", "unknown phase 'up'",
     "one of in_flight, powered, on_ground, armed, taking_off, airborne, returning, landing, landed"),
    ("during: [in_flight]", "during: ^[]", "", "'during' is empty: the rule would never apply",
     "name phases or leave it out"),
    # conditions, in every way that YAML writes them
    ("when: battery.cell_voltage < floor", "when: ^[1]", "", "'when' is not a text", "write it as plain words"),
    ("when: battery.cell_voltage < floor", "when: battery.cell_voltage ^< 3 m", "", "V compared with m",
     "compare like with like"),
    ("when: battery.cell_voltage < floor", 'when: "battery.cell_voltage ^< 3 m"', "", "V compared with m",
     "compare like with like"),
    ("when: battery.cell_voltage < floor", "when: 'battery.cell_voltage ^< 3 m'", "", "V compared with m",
     "compare like with like"),
    ("when: battery.cell_voltage < floor", "when: >-\n      flight.armed and\n\n      battery.sag ^> 3 m\n", "",
     "V compared with m", "compare like with like"),
    ("when: battery.cell_voltage < floor",
     "when: |  # ours\n      flight.armed\n      or battery.sag ^> 3 m\n", "",
     "V compared with m", "compare like with like"),
    ("when: battery.cell_voltage < floor", "when: flight.armed\n      and battery.sag ^> 3 m", "",
     "V compared with m", "compare like with like"),
    ("when: battery.cell_voltage < floor", "when: battery.cell_voltage <^", "", "the condition ends too early",
     "complete it"),
    ("when: battery.cell_voltage < floor", 'when: ^"battery.sag \\x3e 3 m"', "", "V compared with m",
     "compare like with like"),
    ("clear: battery.cell_voltage > floor + 0.1 V", "clear: ^battery.cell_voltage  <  floor", "",
     "'clear' is the same as 'when'", "say when it is over"),
    ("clear: battery.cell_voltage > floor + 0.1 V", "clear: battery.cell_voltage > floor ^+ 0.1 A", "",
     "V added to A", "use like units"),
    # what it says
    (SAY, "say: ^7", "", "'say' is not a text", "write it as plain words"),
    (SAY, 'say: "Battery. {^battery.sga}."', "", "unknown reading 'battery.sga'", "did you mean 'battery.sag'?"),
    (SAY, 'say: "Battery. {^flor:.1}."', "", "unknown setting 'flor'", "did you mean 'floor'?"),
    (SAY, 'say: "Battery. ^{battery.sag!r}."', "", "'{battery.sag!r}' is no reading", "write {name} or {name:.1}"),
    (SAY, 'say: "Battery. ^{battery.sag:>9}."', "", "'{battery.sag:>9}' is no reading",
     "write {name} or {name:.1}"),
    (SAY, 'say: "Battery. {^battery.sag.__class__}."', "", "unknown reading 'battery.sag.__class__'",
     "did you mean 'battery.sag'?"),
    (SAY, 'say: "Battery. ^{flight.phase:.1}."', "", "flight.phase has no decimals", "write {name}"),
    (SAY, 'say: "Battery. ^{ Odd."', "", "a brace without its pair", "write {name} or {name:.1}"),
    (SAY, 'say: "Battery. Odd^}."', "", "a brace without its pair", "write {name} or {name:.1}"),
    (SAY, f'say: "^{"Very " * 41}odd."', "", "longer than 200 characters", "say less"),
    (SAY, "say: 'It''s ^{odd!r}. Odd.'", "", "'{odd!r}' is no reading", "write {name} or {name:.1}"),
    (SAY, "say: >\n      Battery.\n      {^odd}.", "", "unknown setting 'odd'", LIST),
    (SAY, 'say: ^"Battery.\\e[2J"', "", "a character that cannot be printed", "use plain text"),
    # routine calls
    ("    when: flight.armed", "    ^off_delay: 3 s\n    when: flight.armed", "",
     "a routine call has no 'off_delay'", "leave it out"),
    ("level: advisory\n    when: battery.sag > 0.1 V\n    caused_by",
     "level: routine\n    when: battery.sag > 0.1 V\n    ^caused_by", "", "a routine call has no 'caused_by'",
     "leave it out"),
    ("    when: flight.armed", "    ^repeat: 30 s\n    when: flight.armed", "", "a routine call has no 'repeat'",
     "leave it out"),
    ("    when: flight.armed", "    ^latch: true\n    when: flight.armed", "", "a routine call has no 'latch'",
     "leave it out"),
    ("    when: flight.armed", "    ^clear: not flight.armed\n    when: flight.armed", "",
     "a routine call has no 'clear'", "leave it out"),
    ("    when: flight.armed", "    ^mutes: [odd-sag]\n    when: flight.armed", "",
     "a routine call has no 'mutes'", "leave it out"),
    # names of other rules
    ("mutes: [odd-sag]", "mutes: [^odd-sog]", "", "unknown rule 'odd-sog'", "did you mean 'odd-sag'?"),
    ("caused_by: [low-cell]", "caused_by: [^gone]", "", "unknown rule 'gone'", "name a rule that is loaded"),
    ("mutes: [odd-sag]", "^mutes: [low-cell]", "", "'low-cell' mutes itself", "break it"),
    ("caused_by: [low-cell]", "^caused_by: [odd-sag]", "", "'odd-sag' is caused by itself", "break it"),
    ("  - id: odd-sag", "  - id: ^low-cell", "also", "rule 'low-cell' exists already in p.yaml",
     "add 'replaces: low-cell' or rename it"),
    ("latch: false", "replaces: ^nothing", "", "there is no rule 'nothing' to replace",
     "name a rule of an earlier pack"),
    # cases
    (CASE, "given: ^3.2 V", "", "'given' is not a group of keys and values", GROUP),
    (CASE, "given: {^battery.cel_voltage: 3.2 V}", "", "unknown reading 'battery.cel_voltage'",
     "did you mean 'battery.cell_voltage'?"),
    (CASE, "given: {battery.cell_voltage: ^3.2 m}", "", "'3.2 m' is in m", "give it in V"),
    (CASE, "given: {battery.cell_voltage: ^3.2}", "", "'3.2' is without a unit", "give it in V"),
    (CASE, "given: {battery.cell_voltage: ^1e400 V}", "", "'1e400 V' is too large", "write a number in V"),
    (CASE, "given: {battery.cell_voltage: ^true}", "", "battery.cell_voltage is not a quantity here",
     "write it like '5 V'"),
    (CASE, "given: {battery.cell_voltage: [[0, 3 V], [1, ^3 m]]}", "", "'3 m' is in m", "give it in V"),
    (CASE, "given: {battery.cell_voltage: [[1, 3 V], ^[1, 3 V]]}", "", "times must increase", "sort the series"),
    (CASE, "given: {battery.cell_voltage: [^[-1, 3 V]]}", "", "is not [seconds, value]",
     "write it like [[0, 1 V]]"),
    (CASE, "given: {battery.cell_voltage: [^3 V]}", "", "is not [seconds, value]", "write it like [[0, 1 V]]"),
    (CASE, "given: {flight.phase: ^landign}", "", "'landign' is no word of flight.phase",
     "did you mean 'landing'?"),
    (CASE, "given: {flight.armed: ^armed}", "", "flight.armed is true or false", "write one of them"),
    ("expect: met", "expect: ^not-met", "", "unknown verdict 'not-met'", "did you mean 'not met'?"),
    ("expect: met", "expect: ^true", "", "'expect' is neither a verdict nor a list of changes",
     "write met, not met, blind, fault or [[5, raised]]"),
    ("expect: met", "expect: [^raised]", "", "is not [seconds, change]", "write it like [[5, raised]]"),
    ("expect: met", "expect: [^[5, rised]]", "", "unknown change 'rised'", "did you mean 'raised'?"),
    ("expect: met", "expect: met\n        sample: ^0.01 s", "", "'0.01 s' is too small", "give at least 0.1 s"),
    ("expect: met", "expect: met\n        until: ^2 h", "", "'2 h' is too large", "give at most 3600 s"),
    ("expect: met", "expect: met\n        ^untl: 2 s", "", "unknown key 'untl'", "did you mean 'until'?"),
    ("expect: met", "expect: not met", "17:5", "no case shows it met", BOTH),
    ("expect: not met", "expect: blind", "28:5", "no case shows it not met", BOTH),
]  # fmt: skip


def faults_of(text: str) -> list[tuple[str, str, str]]:
    with pytest.raises(BadInputError) as caught:
        load_packs([("p.yaml", text)])
    return [(f"{f.line}:{f.column}", f.what, f.do) for f in caught.value.faults]


@pytest.mark.parametrize(("old", "new", "place", "what", "do"), BROKEN)
def test_message_and_place(old: str, new: str, place: str, what: str, do: str) -> None:
    assert old in SOUND
    text = SOUND.replace(old, new, 1)
    if "^" in new:
        at = text.index("^")
        text = text.replace("^", "", 1)
        line = text.count("\n", 0, at) + 1
        place = f"{line + (place == 'dup')}:{at - text.rfind(chr(10), 0, at)}"
    assert (place, what, do) in faults_of(text)


def test_the_sound_pack_is_sound() -> None:
    assert [rule.id for rule in load_packs([("p.yaml", SOUND)]).rules] == ["low-cell", "odd-sag", "armed-call"]


def test_a_fault_shows_its_line_with_a_caret() -> None:
    with pytest.raises(BadInputError) as caught:
        load_packs([("p.yaml", SOUND.replace("< floor", "< 3 m", 1))])
    assert caught.value.faults[0].with_caret() == (
        "p.yaml:7:32: V compared with m; compare like with like\n"
        "        when: battery.cell_voltage < 3 m\n"
        "                                   ^"
    )


def test_all_faults_of_all_packs_at_once() -> None:
    first = SOUND.replace("< floor", "< 3 m", 1).replace("repeat: 30 s", "repaet: 30 s").replace("Odd.", "{odd}.")
    second = SOUND.replace("pack: test", "pack: other").replace("low-cell", "low-call").replace("0.2 V", "0.2 m")
    third = "rules: [\n"
    with pytest.raises(BadInputError) as caught:
        load_packs([("one.yaml", first), ("two.yaml", second), ("three.yaml", third)])
    found = [(f.file, f.what) for f in caught.value.faults]
    assert found[:6] == [
        ("one.yaml", "V compared with m"),
        ("one.yaml", "unknown key 'repaet'"),
        ("one.yaml", "unknown setting 'odd'"),
        ("two.yaml", "'0.2 m' is in m"),
        ("three.yaml", "not YAML: expected the node content, but found '<stream end>'"),
        ("two.yaml", "rule 'odd-sag' exists already in one.yaml"),
    ]


def test_circles_of_causes_and_of_mutes_are_faults() -> None:
    text = SOUND.replace("repeat: 30 s", "caused_by: [odd-sag]").replace(
        "    caused_by: [low-cell]", "    mutes: [low-cell]\n    caused_by: [low-cell]"
    )
    assert {(what, do) for _, what, do in faults_of(text)} == {
        ("'low-cell' is caused by itself in a circle", "break it"),
        ("'odd-sag' is caused by itself in a circle", "break it"),
        ("'low-cell' mutes itself in a circle", "break it"),
        ("'odd-sag' mutes itself in a circle", "break it"),
    }


def test_a_fault_is_fit_for_a_terminal_whatever_it_quotes() -> None:
    text = (
        SOUND.replace("in_flight", '"\\e[2J\\u202e"')
        .replace("odd-sag]", "x" * 5000 + "]")
        .replace("a test pack", "a\u202eb")
    )
    with pytest.raises(BadInputError) as caught:
        load_packs([("p.yaml", text)])
    assert len(caught.value.faults) == 3
    for fault in caught.value.faults:
        assert all(line.isprintable() and len(line) < 1000 for line in fault.with_caret().splitlines())


def test_the_number_of_rules_is_bounded() -> None:
    head, _, one = SOUND.partition("  - id: armed-call")
    text = head + "".join(f"  - id: armed-call-{i}{one}" for i in range(MAX_RULES))
    assert faults_of(text) == [("0:0", f"more than {MAX_RULES} rules", "load fewer packs")]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "- a\n- b",
        "just words",
        "3",
        "rules: 3",
        "pack: x\nabout: y\nrules: [3, [], null, {}, {id: 3}, {id: []}]",
        "pack: x\nabout: y\nrules: [{cases: {a: b}, given: 3}, {cases: [3, {given: 3}, {given: {a: {b: c}}}]}]",
        "pack: x\nabout: y\nsettings: [1]\nrules: [{when: {a: b}, mutes: {a: b}, during: {a: b}, say: []}]",
        "pack: &a [x]\nabout: *a\nrules: []",
        "pack: !!python/object/apply:os.system [ls]\nabout: y\nrules: []",
        "a: " + "[" * 2000,
        "a: " + "{a: " * 30 + "1" + "}" * 30,
        "? [a]\n: b",
        "3: 4\ntrue: 5\nnull: 6\n",
        "pack: x\nabout: y\nrules: [{id: a, on_delay: " + "9" * 5000 + "}]",
        "pack: \ud800",
        "pack: \x00",
        "pack: é\u202e\nabout: y\nrules: []",
    ],
)
def test_hostile_packs_are_faults_and_nothing_else(text: str) -> None:
    assert all(what for _, what, _ in faults_of(text))


SCRAPS = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=5)
    | st.sampled_from(["met", "3 V"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["given", "expect", "id", "when", "battery.sag", "x"]), inner, max_size=3
        )
    ),
    max_leaves=6,
)
KEY = st.sampled_from(
    [*KEYS.split(", "), "pack", "about", "settings", "rules", "given", "expect", "sample", "until"]
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from([line for line in SOUND.splitlines() if ":" in line]), KEY, SCRAPS)
def test_any_value_of_any_key_loads_or_is_a_fault(line: str, key: str, value: object) -> None:
    indent = line[: len(line) - len(line.lstrip(" -"))]
    text = SOUND.replace(line, f"{indent}{key}: {value!r}", 1)
    with suppress(BadInputError):
        load_packs([("p.yaml", text)])

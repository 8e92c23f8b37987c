"""Words of an alert with the readings as they are now, for what has waited to be spoken; warnings known ahead."""

from __future__ import annotations

from tests.alerts.driver import Driver, pack, rule
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.alerts.ahead import fixed_warnings

CLIMB = rule(
    'id: climb\nlevel: warning\nwhen: position.height > 50 m\nsay: "Height. {position.height:.0} metres. Descend."'
)


def test_a_number_that_has_changed_is_worded_anew() -> None:
    driver = Driver(CLIMB)
    driver.hold("position.height", 60.0)
    driver.run(2)
    assert driver.spoken == ["Warning. Height. 60 metres. Descend."]
    driver.hold("position.height", 80.0)
    driver.run(4)
    assert driver.spoken == ["Warning. Height. 60 metres. Descend."]
    assert driver.book.words_now("climb") == "Warning. Height. 80 metres. Descend."
    driver.teller.units = CrewUnits(height="ft")
    assert driver.book.words_now("climb") == "Warning. Height. 262 feet. Descend."  # 80 / 0.3048
    assert driver.book.words_now("unknown") is None


def test_what_cannot_be_seen_keeps_its_words() -> None:
    driver = Driver(CLIMB)
    driver.hold("position.height", 60.0)
    driver.run(2)
    driver.hold("position.height", None)
    driver.run(60)
    assert driver.book.words_now("climb") is None


def test_warnings_without_a_reading_are_known_ahead() -> None:
    def armed(name: str, level: str, words: str) -> str:
        return f'id: {name}\nlevel: {level}\nwhen: flight.armed\nsay: "{words}"'

    rules = pack(
        CLIMB,
        rule(armed("a", "warning", "Link. Lost.")),
        rule(armed("b", "caution", "Link. Weak.")),
        rule(armed("c", "caution", "Fence. Crossed.") + "\nescalate: {after: 10 s, to: warning}"),
    )
    assert fixed_warnings(rules.rules) == ("Warning. Link. Lost.", "Warning. Fence. Crossed.")

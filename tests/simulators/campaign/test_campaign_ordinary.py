"""Ordinary returns: what is wrongly said on them; and when the recorded flights are turned back."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from simulators.campaign import judge
from simulators.campaign.borne_out import Moments
from simulators.campaign.distributions import read
from simulators.campaign.draw import Drawn
from simulators.campaign.figures import figures
from simulators.campaign.ordinary import Ordinary, ordinary, turn_back_s
from simulators.campaign.record import Flown
from simulators.flown.truth import Futures, Outcome
from tests.simulators.campaign.campaigning import drawn, flown, heard, judged, shipped, written

HOME = flown(turned_back_s=250.0, landing_charge_pct=50.0)


def test_it_begins_well_before_the_last_good_moment() -> None:
    assert turn_back_s(10.0, 410.0) == pytest.approx(250.0)


def test_calls_of_the_return_are_false_from_the_turn_to_the_landing() -> None:
    said = heard(
        (200.0, "return-reserve", "caution", "raised"),  # before
        (250.0, "cell-low", "caution", "raised"),
        (300.0, "home-unreachable", "warning", "raised"),
        (310.0, "link-lost", "warning", "raised"),  # says nothing of the return
        (320.0, "returning-call", "advisory", "raised"),
        (615.0, "battery-low", "caution", "raised"),  # on the ground
    )
    assert ordinary(said, (), HOME) == Ordinary((("home-unreachable", 300.0),), (("cell-low", 250.0),))


def test_a_call_of_the_fault_is_right_from_when_it_began() -> None:
    truth = flown(turned_back_s=250.0, landing_charge_pct=50.0, fault_began_s=300.0)
    said = heard((290.0, "return-worsens", "caution", "raised"), (310.0, "voltage-sag", "warning", "raised"))
    assert ordinary(said, ("pack-open", "voltage-sag"), truth) == Ordinary((), (("return-worsens", 290.0),))
    assert ordinary(said, ("wind-high",), truth) == Ordinary(
        (("voltage-sag", 310.0),), (("return-worsens", 290.0),)
    )


@pytest.mark.parametrize(
    "truth",
    [
        flown(turned_back_s=250.0, landing_charge_pct=19.9),
        flown(turned_back_s=250.0, landing_charge_pct=50.0, landed=False),
        flown(landing_charge_pct=50.0),
    ],
)
def test_one_that_lands_with_less_or_never_turned_tells_nothing(truth: Flown) -> None:
    assert ordinary(heard((300.0, "return-now", "warning", "raised")), (), truth) is None


def test_ordinary_returns_are_a_figure_of_their_own() -> None:
    ends = (
        Ordinary((("return-now", 300.0), ("return-now", 400.0)), (("cell-low", 320.0),)),
        Ordinary((), (("cell-low", 320.0),)),
        Ordinary(),
        None,
    )
    flights = [judged(i) for i in range(4)]
    for one, end in zip(flights, ends, strict=True):
        one.ordinary = end
    found = figures(flights, shipped(), 3)["ordinary_returns"]
    assert found["flights"] == 3
    assert (found["false_warning"]["count"], found["false_warning"]["of"]) == (1, 3)
    assert (found["false_caution"]["count"], found["false_caution"]["of"]) == (2, 3)
    assert found["by_rule"] == {"cell-low": 2, "return-now": 2}


# --- when the recorded flight turns back ------------------------------------------------------------------------


class _Ends(Futures):
    """Futures of a flight that falls at 900 s."""

    def __init__(self, one: Drawn) -> None:
        super().__init__(one.file, one.seed, limit_s=1.0)

    def outcome(self, turn_back_s: float | None) -> Outcome:
        assert turn_back_s is None
        return Outcome(False, True, 0.0, 900.0, 10.0, None)


@pytest.mark.parametrize(
    ("kind", "at_s", "moments", "expected_s"),
    [
        ("pack opens", 300.0, Moments(400.0, 500.0), 500.0),
        ("pack opens", 450.0, Moments(400.0, 500.0), 690.0),  # it ought to have turned back: it stays
        ("pack opens", 700.0, Moments(400.0, 500.0), 940.0),
        ("pack opens", 950.0, Moments(400.0, 500.0), 500.0),  # never comes
        ("pack opens", 300.0, Moments(None, None), 540.0),
        ("satellites jammed", 300.0, Moments(400.0, 500.0), 450.0),
        ("satellites jammed", 450.0, Moments(400.0, 500.0), 690.0),
    ],
)
def test_the_recorded_flight_overstays_and_sees_a_late_fault(
    kind: str, at_s: float, moments: Moments, expected_s: float
) -> None:
    one = drawn(kind, {"restart": True}, at_s)
    assert judge._home_s(one, _Ends(one), moments) == expected_s


@pytest.mark.parametrize(
    ("moments", "expected_s"),
    [(Moments(400.0, 500.0), 500.0), (Moments(None, None), 150.0), (Moments(None, 90.0), 90.0),
     (Moments(math.inf, math.inf), math.inf)],
)  # fmt: skip
def test_without_a_fault_it_stays_until_it_can_only_just_land(moments: Moments, expected_s: float) -> None:
    one = drawn()
    assert judge._home_s(one, _Ends(one), moments) == expected_s


def test_both_recordings_are_kept_and_taken_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A short flight that is fit: the early one turns at 60 % of the way, and lands with more."""
    changes = (
        ("load_kg: [0, 14]", "load_kg: [13, 14]"), ("charge_pct: [90, 100]", "charge_pct: [38, 42]"),
        ("distance_m: [150, 1400]", "distance_m: [100, 150]"), ("no_fault: 0.4", "no_fault: 1.0"),
        ("far_chance: 0.15", "far_chance: 0.0"), ("wind_m_s: [0, 9]", "wind_m_s: [0, 3]"),
        ("temperature_degc: [-5, 33]", "temperature_degc: [15, 25]"),
    )  # fmt: skip
    (tmp_path / "file").mkdir()
    distributions = read(written(tmp_path / "file", *changes))
    ready = judge.prepare(distributions, 4, 0, tmp_path / "kept")
    assert ready.last_good_s is not None
    assert ready.ordinary is not None
    early, late = ready.ordinary, ready.flown
    assert early.turned_back_s == pytest.approx(turn_back_s(late.took_off_s, ready.last_good_s), abs=0.05)
    assert early.landing_charge_pct > late.landing_charge_pct + 5.0
    assert {judge.RECORDING, judge.ORDINARY} <= {path.name for path in (tmp_path / "kept").iterdir()}

    def forbidden(*_: object) -> None:
        raise AssertionError("flown again")

    monkeypatch.setattr(judge, "fly", forbidden)
    again = judge.prepare(distributions, 4, 0, tmp_path / "kept")
    assert (again.ordinary, again.flown, again.drawn) == (early, late, ready.drawn)

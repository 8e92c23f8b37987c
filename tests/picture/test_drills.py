"""Pictures of drills: what the readings and alerts of the same engine say."""

from __future__ import annotations

from tests.picture.pictures import Watching, at
from watchkeeper.picture.models import StationPicture


def test_a_picture_survives_json() -> None:
    picture = at("four-faults", 200)
    assert StationPicture.model_validate_json(picture.model_dump_json()) == picture


def test_the_answer_follows_the_rules_that_stand() -> None:
    watching = Watching("four-faults")
    found: dict[str, list[float]] = {}
    for second in range(10, 330, 10):
        picture = watching.fly(float(second))
        (one,) = picture.aircraft
        stands = {alert.rule for alert in one.alerts if not alert.over}
        standing = one.answer.standing
        found.setdefault(standing, []).append(second)
        assert (standing == "now") == ("return-now" in stands and one.phase in ("taking_off", "airborne"))
        if "return-reserve" in stands and "return-now" not in stands:
            assert standing == "soon"
        if standing not in ("unknown", "home"):
            assert one.answer.reserve_pct == round(float(one.readings["return.reserve"] or 0.0), 1)
    assert {"home", "yes", "soon", "now"} <= set(found)

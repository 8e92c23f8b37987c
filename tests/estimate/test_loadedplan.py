"""The plan in the aircraft against today's, as far as it was seen. The rule is common practice (facts.md 14)."""

from __future__ import annotations

from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.aircraft.plan import Plan
from watchkeeper.estimate.readiness.loadedplan import LoadedPlan

SORTIE = load_sortie_file("home: [1.0, 2.0]\nplan: [{at: [1.003, 2.0], height: 30 m}]", "s.yaml")


def test_a_plan_that_was_not_seen_is_not_taken_for_todays() -> None:
    plan = Plan()
    part = LoadedPlan(plan, SORTIE)
    assert part.run(1) == (None, None, None)
    plan.go_to(0, 2, 2)
    assert part.run(2) == (2.0, None, True)
    plan.add(0, 16, 1.003, 2.0)
    assert part.run(3) == (2.0, None, True)  # half of it
    plan.add(1, 21, 1.0, 2.0)
    assert part.run(4) == (2.0, False, True)
    assert part.run(5) is None


def test_another_plan_of_as_many_items_is_looked_at_anew() -> None:
    plan = Plan()
    part = LoadedPlan(plan, SORTIE)
    plan.count(1)
    plan.add(0, 16, 1.003, 2.0)
    assert part.run(1) == (1.0, False, True)
    plan.count(1)
    plan.add(0, 16, 1.03, 2.0)  # 3 km on
    assert part.run(2) == (1.0, True, True)
    plan.go_to(0, 65535, 0)
    assert part.run(3) == (0.0, False, True)

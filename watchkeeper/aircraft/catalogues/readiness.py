"""What speaks against a take-off, and where the crew is."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

READINESS: tuple[R, ...] = (
    R(
        "ready.reasons",
        "count",
        "reasons to wait with the take-off",
        "all that is known before it",
        5,
        10,
        estimate=True,
    ),
    R(
        "ready.mendable",
        "count",
        "those of them that somebody on the ground can do away with now",
        "all that is known before it",
        5,
        10,
        estimate=True,
    ),
    R(
        "ready.why",
        "",
        "the reasons to wait, the weightiest first",
        "all that is known before it",
        5,
        10,
        text=True,
        estimate=True,
    ),
    R("plan.items", "count", "items of the plan in the aircraft", "MISSION_CURRENT, MISSION_COUNT", held=True),
    R(
        "plan.unwanted",
        "",
        "a plan is in the aircraft that today's sortie does not name",
        "MISSION_CURRENT, MISSION_COUNT, MISSION_ITEM_INT, sortie file",
        boolean=True,
        held=True,
    ),
    R(
        "plan.meant",
        "",
        "today's sortie has a plan of its own",
        "MISSION_CURRENT, MISSION_COUNT, sortie file",
        boolean=True,
        held=True,
    ),
    R("crew.moving", "", "the crew moves, and home with it", "sortie file", boolean=True, held=True),
    R(
        "crew.home_distance",
        "m",
        "distance of home from where the crew's station is",
        "GLOBAL_POSITION_INT or FOLLOW_TARGET of a ground station",
        5,
        30,
        estimate=True,
    ),
)

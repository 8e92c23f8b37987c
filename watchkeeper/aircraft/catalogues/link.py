"""Whether the aircraft is heard, how well, and who else is."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

LINK: tuple[R, ...] = (
    R(
        "link.age",
        "s",
        "time since the aircraft was last heard",
        "any frame of its autopilot",
        held=True,
        rate=1.0,
    ),
    R(
        "link.interval",
        "s",
        "how often the aircraft makes itself known",
        "HEARTBEAT, HIGH_LATENCY2 on slow links",
        held=True,
    ),
    R("link.lag", "s", "how late telemetry arrives, over its best", "time_boot_ms of the messages", 5, 15),
    R("link.loss", "%", "frames lost over the last 10 s", "sequence numbers", 5, 30, estimate=True),
    R("link.margin", "dB", "signal over noise, the weaker end", "RADIO_STATUS, RADIO", 5, 20),
    R(
        "link.margin_trend",
        "dB/min",
        "robust slope of the margin over the last minute",
        "estimate",
        5,
        20,
        estimate=True,
    ),
    R(
        "link.fades_in",
        "s",
        "time until the margin is used up at this trend",
        "estimate",
        5,
        20,
        rate=-1.0,
        estimate=True,
    ),
)

"""Who is heard on each source, in plain words, and what to change at the sending side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.fleet import Fleet, Peer
from watchkeeper.aircraft.fold import RADIO_MESSAGES
from watchkeeper.aircraft.readings import US
from watchkeeper.link.tables import MESSAGES

MOST_SHOWN: Final = 8
_LEAST_US: Final = 5 * US
"""Rates are not told before this: too few messages came."""
_RADIO_TYPE_UNKNOWN: Final = 255
_STATIONS: Final = frozenset({dialect.MAV_TYPE_GCS})


class Wanted(NamedTuple):
    """What the watch wants of an aircraft: any of these messages, at this rate, or else this is not seen."""

    messages: tuple[int, ...]
    rate_hz: float
    what: str


WANTED: Final = (
    Wanted((33,), 1.0, "position"),
    Wanted((147, 1), 0.5, "battery"),
    Wanted((24,), 0.5, "satellites"),
    Wanted((74,), 0.5, "throttle and climb"),
    Wanted((30,), 0.5, "attitude"),
)


def describe_sources(fleet: Fleet, now_us: int) -> list[str]:
    """Return a few plain lines a source: who is heard, at what rates, and what is missing."""
    if not fleet.sources:
        return [
            "Nothing heard yet. Let the ground station send its telemetry to the address the watch listens on."
        ]
    lines: list[str] = []
    for source, peers in fleet.sources.items():
        lines.append(f"{source}:")
        aircraft = [peer for peer in peers.values() if peer.aircraft is not None]
        lines += ["  " + _who(peer, now_us) for peer in peers.values()]
        for peer in aircraft:
            lines += [f"  {line}" for line in _lacks(peer, peers)]
        if not aircraft:
            lines.append("  No aircraft here: no heartbeat of an autopilot. Check what is sent to this address.")
    return lines


def _who(peer: Peer, now_us: int) -> str:
    if peer.aircraft is not None:
        kind = f"Aircraft {peer.system}"
    elif RADIO_MESSAGES & peer.counts.keys():
        kind = f"Radio {peer.system}"
    elif peer.vehicle in _STATIONS or peer.system == _RADIO_TYPE_UNKNOWN:
        kind = f"Ground station {peer.system}"
    else:
        kind = f"System {peer.system}, component {peer.component}"
    span_us = peer.last_us - peer.first_us
    total = sum(peer.counts.values())
    text = f"{kind}: {total} messages"
    if span_us >= _LEAST_US:
        by_count = sorted(peer.counts.items(), key=lambda item: (-item[1], item[0]))
        rates = [f"{_name(number)} {count * US / span_us:.1f}" for number, count in by_count[:MOST_SHOWN]]
        more = f" and {len(by_count) - MOST_SHOWN} kinds more" if len(by_count) > MOST_SHOWN else ""
        text += f"; a second: {', '.join(rates)}{more}"
    tracker = peer.tracker
    expected = tracker.received + max(tracker.lost, 0)
    if tracker.lost > 0:
        text += f"; {100 * tracker.lost / expected:.1f} % lost"
    silent_us = now_us - peer.last_us
    if silent_us > _LEAST_US:
        text += f"; silent for {silent_us / US:.0f} s"
    return text + "."


def _name(number: int) -> str:
    message = MESSAGES.get(number)
    return message.name if message is not None else f"message {number}"


def _lacks(peer: Peer, peers: Mapping[tuple[int, int], Peer]) -> list[str]:
    """Return what is missing of one aircraft on one source, and what to change."""
    span_us = peer.last_us - peer.first_us
    if span_us < _LEAST_US:
        return ["Not heard for long enough to tell what is missing."]
    lines: list[str] = []
    for wanted in WANTED:
        count = sum(peer.counts.get(number, 0) for number in wanted.messages)
        rate_hz = count * US / span_us
        names = " or ".join(_name(number) for number in wanted.messages)
        if not count:
            lines.append(
                f"No {wanted.what}: let the aircraft send {names} at {wanted.rate_hz:g} a second or more."
            )
        elif rate_hz < 0.8 * wanted.rate_hz:
            lines.append(
                f"Slow {wanted.what} ({rate_hz:.1f} a second): raise {names} to {wanted.rate_hz:g} or more."
            )
    if not any(RADIO_MESSAGES & other.counts.keys() for other in peers.values()):
        lines.append(
            "No radio report: let the radio put its status into the stream, else loss and gaps must serve."
        )
    stations = [other for other in peers.values() if other.vehicle in _STATIONS]
    lines.append(
        "The ground station's own messages are seen."
        if stations
        else "The ground station's own messages are not seen: what it sends up cannot be told from surprises."
    )
    seen = len(peer.aircraft.parameters.values) if peer.aircraft is not None else 0
    total = peer.aircraft.parameters.total if peer.aircraft is not None else None
    if seen:
        lines.append(f"{seen} of {total or 'unknown'} parameters seen.")
    else:
        lines.append("No parameters seen: refresh them at the ground station once the watch listens.")
    return lines

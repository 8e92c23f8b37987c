"""Who is heard on each source, in plain words, and what to change at the sending side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.fleet import Fleet, Peer
from watchkeeper.aircraft.fold_radio import RADIO_MESSAGES
from watchkeeper.aircraft.readings import US
from watchkeeper.link.tables import MESSAGES

MOST_SHOWN: Final = 8
MOST_PEERS: Final = 32
_LEAST_US: Final = 5 * US
"""Rates are not told before this: too few messages came."""
_MISSED: Final = 4
_STATION_SYSTEM: Final = 255
"""Stations use the highest system ids (custom of the MAVLink guide); here without a heartbeat to tell."""
_ENOUGH: Final = 0.8
_KINDS: Final[Mapping[int, str]] = {
    dialect.MAV_TYPE_GCS: "Ground station",
    dialect.MAV_TYPE_ANTENNA_TRACKER: "Antenna tracker",
    dialect.MAV_TYPE_ONBOARD_CONTROLLER: "Companion computer",
    dialect.MAV_TYPE_GIMBAL: "Gimbal",
    dialect.MAV_TYPE_ADSB: "Traffic receiver",
    dialect.MAV_TYPE_CAMERA: "Camera",
    dialect.MAV_TYPE_BATTERY: "Battery",
    dialect.MAV_TYPE_GPS: "Satellite receiver",
    dialect.MAV_TYPE_WINCH: "Winch",
}


class Wanted(NamedTuple):
    """What the watch wants of an aircraft: any of these messages, at this rate, or else this is not seen."""

    messages: tuple[int, ...]
    rate_hz: float
    what: str


WANTED: Final = (
    Wanted((0,), 1.0, "heartbeat"),
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
        shown = [*peers.values()][:MOST_PEERS]
        lines += ["  " + _who(peer, now_us) for peer in shown]
        if len(peers) > len(shown):
            lines.append(f"  And {len(peers) - len(shown)} more components.")
        aircraft = [peer for peer in peers.values() if peer.aircraft is not None]
        for peer in aircraft:
            lines += [f"  {line}" for line in _lacks(peer, peers)]
        if not aircraft:
            lines.append("  No aircraft here: no heartbeat of an autopilot. Check what is sent to this address.")
    if fleet.refused:
        systems = [str(system) for system in sorted(fleet.refused)]
        more = f" and {len(systems) - MOST_SHOWN} more" if len(systems) > MOST_SHOWN else ""
        lines.append(
            f"Not watched, as there are {len(fleet.aircraft)} aircraft already: system "
            f"{', '.join(systems[:MOST_SHOWN])}{more}. Send fewer to this watch, or start it anew."
        )
    return lines


def heard_line(fleet: Fleet, now_us: int) -> str:
    """Return in one line who is heard on each source; what was heard before is told as silent."""
    told: list[str] = []
    for source, peers in fleet.sources.items():
        silent = {
            peer.system: now_us - peer.last_us > _LEAST_US for peer in peers.values() if peer.aircraft is not None
        }
        who = [f"aircraft {system}{' silent' if gone else ''}" for system, gone in sorted(silent.items())]
        more = f" and {len(who) - MOST_SHOWN} more" if len(who) > MOST_SHOWN else ""
        told.append(f"{source}: {', '.join(who[:MOST_SHOWN]) or 'no aircraft'}{more}")
    return "; ".join(told) or "nothing heard yet"


def _who(peer: Peer, now_us: int) -> str:
    text = f"{_kind(peer)}: {peer.total} messages"
    span_us = peer.last_us - peer.first_us
    if span_us >= _LEAST_US:
        by_count = sorted(peer.slots.items(), key=lambda item: (-item[1].count, item[0]))
        rates = [f"{_name(number)} {slot.count * US / span_us:.1f}" for number, slot in by_count[:MOST_SHOWN]]
        more = f" and {len(by_count) - MOST_SHOWN} kinds more" if len(by_count) > MOST_SHOWN else ""
        text += f"; a second: {', '.join(rates)}{more}"
    tracker = peer.tracker
    if tracker.lost > 0:
        text += f"; {100 * tracker.lost / (tracker.received + tracker.lost):.1f} % lost"
    if peer.refused:
        text += f"; {peer.refused} not understood"
    silent_us = now_us - peer.last_us
    if silent_us > _LEAST_US:
        text += f"; silent for {silent_us / US:.0f} s"
    return text + "."


def _kind(peer: Peer) -> str:
    if peer.aircraft is not None:
        return f"Aircraft {peer.system}"
    if not RADIO_MESSAGES.isdisjoint(peer.slots):
        return f"Radio {peer.system}"
    if peer.vehicle is not None and peer.vehicle in _KINDS:
        return f"{_KINDS[peer.vehicle]} {peer.system}"
    if peer.vehicle is None and peer.system == _STATION_SYSTEM:
        return f"Ground station {peer.system} (no heartbeat)"
    return f"System {peer.system}, component {peer.component}"


def _name(number: int) -> str:
    message = MESSAGES.get(number)
    if message is not None:
        return message.name
    return "others" if number < 0 else f"message {number}"


def _lacks(peer: Peer, peers: Mapping[tuple[int, int], Peer]) -> list[str]:
    """Return what is missing of one aircraft on one source, and what to change."""
    span_us = peer.last_us - peer.first_us
    if span_us < _LEAST_US:
        return ["Not heard for long enough to tell what is missing."]
    lines: list[str] = []
    for wanted in WANTED:
        slots = [peer.slots[number] for number in wanted.messages if number in peer.slots]
        count = sum(slot.count for slot in slots)
        ended_us = peer.last_us - max((slot.last_us for slot in slots), default=0)
        rate_hz = count * US / span_us
        names = " or ".join(_name(number) for number in wanted.messages)
        if not count:
            lines.append(
                f"No {wanted.what}: let the aircraft send {names} at {wanted.rate_hz:g} a second or more."
            )
        elif ended_us > max(_LEAST_US, _MISSED / wanted.rate_hz * US):
            lines.append(f"No {wanted.what} for {ended_us / US:.0f} s: look why {names} stopped.")
        elif rate_hz < _ENOUGH * wanted.rate_hz:
            lines.append(
                f"Slow {wanted.what} ({rate_hz:.1f} a second): raise {names} to {wanted.rate_hz:g} or more."
            )
    if all(RADIO_MESSAGES.isdisjoint(other.slots) for other in peers.values()):
        lines.append(
            "No radio report: let the radio put its status into the stream, else loss and gaps must serve."
        )
    stations = [other for other in peers.values() if other.vehicle == dialect.MAV_TYPE_GCS]
    lines.append(
        "The ground station's own messages are seen."
        if stations
        else "The ground station's own messages are not seen: what it sends up cannot be told from surprises."
    )
    parameters = peer.aircraft.parameters if peer.aircraft is not None else None
    if parameters is not None and parameters.values:
        total = parameters.total if parameters.total is not None else "unknown"
        lines.append(f"{len(parameters.values)} of {total} parameters seen.")
    else:
        lines.append("No parameters seen: refresh them at the ground station once the watch listens.")
    if peer.aircraft is not None and peer.aircraft.switch.channel is not None:
        off = peer.aircraft.why_not_by_sticks()
        lines.append(f"Acknowledging from the sticks is {f'off: {off}' if off else 'on'}.")
    return lines

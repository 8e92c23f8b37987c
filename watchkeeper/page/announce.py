"""What the terminal says of the page: where it is, with which keys, and who can read along."""

from __future__ import annotations

import io
import ipaddress
from pathlib import Path

import psutil
import segno

from watchkeeper.edges.place import Place
from watchkeeper.page.keys import Keys

MAX_ADDRESSES = 8


def reachable(place: Place) -> list[Place]:
    """Return the places under which others reach it: for every address, those of this machine, IPv4 first."""
    if not place.everywhere:
        return [place]
    return [Place(host, place.port) for host in _own_addresses(six=":" in place.host)][:MAX_ADDRESSES] or [
        place.from_here
    ]


def _own_addresses(*, six: bool) -> list[str]:
    found: dict[str, None] = {}
    try:
        cards = psutil.net_if_addrs()
    except OSError:
        return []
    for addresses in cards.values():
        for one in addresses:
            try:
                address = ipaddress.ip_address(str(one.address))
            except ValueError:  # the address of the card itself
                continue
            if (address.version == 6) is six and not (address.is_loopback or address.is_link_local):
                found[str(address)] = None
    return [*found]


def url(place: Place, key: str | None = None) -> str:
    """Return the page's address, for the role whose key it is."""
    return f"http://{place}/" + ("" if key is None else f"?key={key}")


def lines(place: Place, keys: Keys, file: Path, *, to_person: bool) -> list[str]:
    """Return what is said at the start. Keys are shown at a terminal only: else they would be in a log."""
    places = reachable(place)
    said = ["page, for everybody to read: " + "  ".join(url(one) for one in places)]
    if not to_person:
        return [*said, f"page: the keys of the roles stand in {file}"]
    said += [f"page, as {role}: {url(places[0], key)}" for role, key in keys.by_role.items()]
    if not place.local and "observer" in keys.by_role:
        said += ["page, for the observer's phone:", *code(url(places[0], keys.by_role["observer"]))]
    return said


def code(text: str) -> list[str]:
    """Return the lines of a QR code (ISO/IEC 18004), for a terminal with light letters on dark."""
    drawn = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue().splitlines()


def caution(place: Place) -> str:
    """Return what the crew is to know if others can reach the page; nothing if they cannot."""
    if place.local:
        return ""
    return (
        f"the page is open to the network at {place}, by plain HTTP: anybody there can look on; who has a role's "
        "key, or reads along what crosses the network, can give its orders"
    )

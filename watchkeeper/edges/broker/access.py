"""Who may do what at the embedded broker."""

from __future__ import annotations

import hmac
import ipaddress
from dataclasses import dataclass, field

from watchkeeper.edges.broker.packets import NOT_AUTHORISED, WRONG_PASSWORD, Connect, RefusedError


@dataclass(frozen=True, slots=True)
class Access:
    """With a user and password: who has them may do everything, others nothing.

    Without: everybody who reaches the broker may listen, and programs on this machine may also publish. So
    nobody on a network gives orders, or says in the watch's name, without a password.
    """

    user: str | None = None
    password: str | None = field(default=None, repr=False)

    def admit(self, connect: Connect, peer: str, own: str) -> bool:
        """Return whether a client may publish. Raises RefusedError if it may not even listen."""
        if self.user is None:
            return is_local(peer) or same_host(peer, own)
        if connect.user is None:
            raise RefusedError(NOT_AUTHORISED)
        right_user = hmac.compare_digest(connect.user.encode(), self.user.encode())
        right_password = hmac.compare_digest(connect.password, (self.password or "").encode())
        if not (right_user and right_password):
            raise RefusedError(WRONG_PASSWORD)
        return True


def is_local(host: str) -> bool:
    """Whether an address, or the name `localhost`, is this machine's own loopback."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return host.lower() == "localhost"
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped.is_loopback
    return address.is_loopback


def same_host(peer: str, own: str) -> bool:
    """Whether both ends of a connection are one machine: nobody else can hold a connection from our address."""
    return bool(own) and peer == own

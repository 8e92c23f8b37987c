"""What `--mqtt`, `--broker` and the table `[messages]` ask for, checked before anything is started."""

from __future__ import annotations

import sys
from collections.abc import Callable
from urllib.parse import quote

from watchkeeper.edges.broker.access import Access, is_local
from watchkeeper.edges.broker.embedded import (
    EmbeddedBroker,
    limits,
    open_to_network,
    parse_broker_place,
    require_library,
    url_of,
)
from watchkeeper.edges.logs import without_secrets
from watchkeeper.edges.mqtt.address import parse_broker
from watchkeeper.edges.mqtt.login import Login, LoginError, Messages, read_password
from watchkeeper.edges.place import Place
from watchkeeper.edges.reports import Report
from watchkeeper.errors import bad_input


class Messaging:
    """Where messages go. Raises BadInputError, in one line, for what cannot work."""

    def __init__(self, mqtt: str | None, broker: str | None, messages: Messages) -> None:
        self.url = mqtt
        """Where the outlet connects to, with user and password if they stand in it; None: no messages."""
        self.messages = messages
        self._place: Place | None = None
        self._access = Access()
        if mqtt is not None:
            Login(parse_broker(mqtt), messages).check()
        elif broker is not None:
            self._place = parse_broker_place(broker)
            require_library()
            self._access = _access(messages)
            self.url = url_of(self._place)
            if self._access.user is not None:
                secret = f"{quote(self._access.user, safe='')}:{quote(self._access.password or '', safe='')}@"
                self.url = self.url.replace("//", f"//{secret}", 1)
            self.messages = Messages()

    @property
    def embedded(self) -> bool:
        """Whether the broker is the watch's own."""
        return self._place is not None

    def broker(self, report: Report) -> EmbeddedBroker | None:
        """Return the broker that is to be started."""
        return None if self._place is None else EmbeddedBroker(self._place, self._access, report)

    def tell(self, say: Callable[[str], None], station: str, *, quiet: bool) -> None:
        """Say at the start what is to be known; `quiet`: only what the crew must know."""
        for line in [*([] if quiet else self.lines(station)), *self.cautions()]:
            say(line)

    def lines(self, station: str) -> list[str]:
        """Return what is said at the start for information."""
        if self.url is None:
            return []
        own = [limits(self._place)] if self._place is not None else []
        return [*own, f"messages by {without_secrets(self.url)} as station {station}"]

    def cautions(self) -> list[str]:
        """Return what the crew is to know of who can read along or give orders."""
        if self._place is not None:
            said = open_to_network(self._place, self._access)
            return [said] if said else []
        if self.url is None or parse_broker(self.url).password is None:
            return []
        broker = parse_broker(self.url)
        found = []
        if any(self.url in word for word in sys.argv):
            found.append("the list of processes shows the password in --mqtt; name a password-file in [messages]")
        if not broker.tls and not is_local(broker.host):
            found.append("the password crosses the network unencrypted; use mqtts:// if the broker has it")
        return found


def _access(messages: Messages) -> Access:
    if messages.authority or messages.certificate or messages.key:
        raise bad_input("[messages]: certificates, and --broker has no TLS", "leave them out")
    if messages.user is None:
        if messages.password_file is not None:
            raise bad_input("[messages]: password-file without user", "name the user too")
        return Access()
    try:
        password = read_password(messages)
    except LoginError as error:
        raise error.as_bad_input() from None
    if not password:
        raise bad_input("[messages]: user without password", "name a password-file")
    return Access(messages.user, password)

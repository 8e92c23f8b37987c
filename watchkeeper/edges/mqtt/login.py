"""How the watch shows a broker who it is, and knows the broker: user, password, certificates.

Files are read anew for every connection, so that what is mended while the watch runs is used at the next try.
"""

from __future__ import annotations

import os
import ssl
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict, Field

from watchkeeper.edges.mqtt.address import Broker
from watchkeeper.edges.mqtt.trouble import NotReachedError, Trouble
from watchkeeper.errors import BadInputError, bad_input

PASSWORD_VARIABLE: Final = "WATCHKEEPER_MQTT_PASSWORD"  # noqa: S105  (a name, no password)
MAX_PASSWORD_BYTES = 1024
FILES: Final = ("password_file", "authority", "certificate", "key")


class Messages(BaseModel):
    """Table `[messages]`: how to get into the broker; with `--broker`, what others need to get in."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    user: str | None = Field(default=None, min_length=1, max_length=256)
    password_file: Path | None = Field(default=None, alias="password-file")
    """First line: the password."""
    password_variable: str = Field(
        default=PASSWORD_VARIABLE, alias="password-variable", pattern=r"^[A-Za-z_][A-Za-z0-9_]*$"
    )
    """Environment variable that holds the password, if there is no file."""
    authority: Path | None = None
    """PEM file of the authorities whose certificates are trusted, in place of the system's."""
    certificate: Path | None = None
    """PEM file of the watch's own certificate."""
    key: Path | None = None
    """PEM file of its key, if the certificate's file does not hold it."""

    def under(self, folder: Path) -> Messages:
        """Return it with its files counted from a folder."""
        moved = {name: folder / path for name in FILES if (path := getattr(self, name)) is not None}
        return self.model_copy(update=moved)


class LoginError(Exception):
    """Something for the login cannot be used."""

    def __init__(self, what: str, do: str, file: Path | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.do = do
        self.file = file

    def as_bad_input(self) -> BadInputError:
        """Return it as a fault of what a person wrote."""
        return bad_input(self.what, self.do, file=str(self.file) if self.file else "")

    def as_trouble(self) -> Trouble:
        """Return it as a reason for which the broker is not reached."""
        why = f"{self.file}: {self.what}" if self.file else self.what
        return Trouble(why, f"Broker login, {self.what}. Check it.")


@dataclass(frozen=True, slots=True)
class Secrets:
    """What one connection is made with. The password never shows in a representation."""

    user: str | None
    password: str | None = field(repr=False)
    tls: ssl.SSLContext | None


class Login:
    """The way into one broker."""

    def __init__(self, broker: Broker, messages: Messages) -> None:
        """Raise BadInputError for what can never work."""
        self._broker = broker
        self._messages = messages
        if not broker.tls and (messages.authority or messages.certificate or messages.key):
            raise bad_input(
                "[messages]: certificates, and --mqtt without TLS", "write mqtts://, or leave them out"
            )
        if messages.key is not None and messages.certificate is None:
            raise bad_input("[messages]: key without certificate", "name the certificate too")
        if messages.password_file is not None and (messages.user or broker.user) is None:
            raise bad_input("[messages]: password-file without user", "name the user too")

    def check(self) -> None:
        """Raise BadInputError for files that cannot be used now. Reads them."""
        try:
            self._read()
        except LoginError as error:
            raise error.as_bad_input() from None

    def read(self) -> Secrets:
        """Return what to connect with. Reads files, so not on the event loop. Raises NotReachedError."""
        try:
            return self._read()
        except LoginError as error:
            raise NotReachedError(error.as_trouble()) from None

    def _read(self) -> Secrets:
        user = self._broker.user or self._messages.user
        password = None
        if user is not None:
            password = self._broker.password if self._broker.user else None
            if password is None:
                password = read_password(self._messages)
        return Secrets(user, password, _context(self._messages) if self._broker.tls else None)


def read_password(messages: Messages) -> str | None:
    """Return the password from its file, or else from the environment. Raises LoginError."""
    path = messages.password_file
    if path is None:
        found = os.environ.get(messages.password_variable)
    else:
        try:
            with path.open("rb") as file:
                raw = file.read(MAX_PASSWORD_BYTES + 1)
            if len(raw) > MAX_PASSWORD_BYTES:
                raise LoginError("password file is too long", "name the right file", path)
            found = raw.decode("utf-8").partition("\n")[0].rstrip("\r")
        except UnicodeDecodeError:
            raise LoginError("password file is not UTF-8 text", "save it as UTF-8", path) from None
        except OSError as error:
            raise _unreadable("password file", path, error) from None
        if not found:
            raise LoginError("password file is empty", "write the password into its first line", path)
    if found is not None and ("\x00" in found or len(found) > MAX_PASSWORD_BYTES):
        raise LoginError("password is too long or not text", "correct it")
    return found


def _context(messages: Messages) -> ssl.SSLContext:
    try:
        context = ssl.create_default_context(cafile=messages.authority)
    except ssl.SSLError:
        raise LoginError("authority file holds no certificate", "name a PEM file", messages.authority) from None
    except OSError as error:
        raise _unreadable("authority file", messages.authority, error) from None
    if messages.certificate is None:
        return context
    try:
        context.load_cert_chain(messages.certificate, messages.key, _no_passphrase)
    except ssl.SSLError as error:
        if error.reason == "KEY_VALUES_MISMATCH":
            what, do = "key does not belong to certificate", "name the two that belong together"
        else:
            what, do = "certificate or key cannot be used", "name PEM files with certificate and key"
        raise LoginError(what, do, messages.certificate) from None
    except OSError as error:
        path = messages.certificate
        if messages.key is not None and os.access(path, os.R_OK):
            path = messages.key
        raise _unreadable("certificate or key", path, error) from None
    return context


def _no_passphrase() -> str:
    """Stand in for the question that the TLS library would put on the terminal."""
    raise LoginError("key is locked by a passphrase", "store it without one, readable by the watch only")


def _unreadable(what: str, path: Path | None, error: OSError) -> LoginError:
    why = "not found" if isinstance(error, FileNotFoundError) else (error.strerror or "unreadable").lower()
    return LoginError(f"{what}: {why}", "check the file", path)

"""What can be wrong with a broker: a reason for the log, and words to be spoken (the cause, and what to do)."""

from __future__ import annotations

import os
import socket
import ssl
from dataclasses import dataclass
from typing import Final

import aiomqtt
from aiomqtt.exceptions import MqttConnectError
from paho.mqtt.reasoncodes import ReasonCode

FAILURE: Final = 128
"""Reason codes from here on are failures (MQTT 5 section 2.4); 3.1.1 says a refused subscription so, too."""
_NOT_AUTHORISED: Final = 135
_NOT_LET_IN: Final = frozenset({4, 5, 134, _NOT_AUTHORISED})
"""Bad user name or password, not authorised: 3.1.1 section 3.2.2.3, 5 section 3.2.2.2."""
_OTHER_PROTOCOL: Final = frozenset({1, 129, 130, 132})
"""Version 3.1.1 not accepted; malformed packet, protocol error, version 5 not supported."""


_UNTRUSTED: Final = {
    9: "Broker not trusted, certificate not valid yet. Set the clock.",
    10: "Broker not trusted, certificate expired. Check certificate and clock.",
    **dict.fromkeys(
        (18, 19, 20, 21),
        "Broker not trusted, unknown authority. Name the right authority.",
    ),
    62: "Broker not trusted, certificate of another name. Check its address.",
    64: "Broker not trusted, certificate of another address. Check its address.",
}
"""By OpenSSL's numbers (manual page X509_STORE_CTX_get_error)."""
_NOT_TRUSTED: Final = "Broker not trusted, certificate not accepted. Check certificate and clock."
_OURS_REFUSED: Final = (
    "ALERT_UNKNOWN_CA",
    "ALERT_BAD_CERTIFICATE",
    "ALERT_CERTIFICATE_EXPIRED",
    "ALERT_CERTIFICATE_REVOKED",
    "ALERT_CERTIFICATE_UNKNOWN",
    "ALERT_UNSUPPORTED_CERTIFICATE",
    "ALERT_ACCESS_DENIED",
)
_NOT_SECURE: Final = "Broker not reached, no secure connection. Check port and certificates."
_NO_TLS: Final = frozenset(
    {"WRONG_VERSION_NUMBER", "HTTP_REQUEST", "RECORD_LAYER_FAILURE", "PACKET_LENGTH_TOO_LONG"}
)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One trouble: `why` for the log, `say` for the crew. Neither holds user or password."""

    why: str
    say: str


class NotReachedError(Exception):
    """No connection could be made."""

    def __init__(self, trouble: Trouble) -> None:
        super().__init__(trouble.why)
        self.trouble = trouble


class ClosedError(aiomqtt.MqttError):
    """The broker closed the connection instead of answering."""


class TimedOutError(aiomqtt.MqttError):
    """The broker did not acknowledge a message in time."""


class PublishRefusedError(Exception):
    """The broker refused a message (MQTT 5 section 3.4.2.1). The connection stands."""

    def __init__(self, code: ReasonCode) -> None:
        super().__init__(str(code).lower())
        self.trouble = Trouble(str(code).lower(), _messages_refused(code))


TIMED_OUT: Final = Trouble("no answer", "Broker not reached, timed out. Check network and broker.")
FILES_SLOW: Final = Trouble(
    "files for the login not read in time",
    "Broker not reached, login files not read. Check the disk.",
)
NO_VERSION: Final = Trouble(
    "refused in every version", "Broker refused the watch, other protocol. Check its version."
)


def of_network(error: OSError, *, tls: bool = False) -> Trouble:
    """Return why the network, the name or TLS did not get us to the broker. `tls`: it was asked for."""
    if isinstance(error, TimeoutError):
        return TIMED_OUT
    if isinstance(error, ssl.SSLCertVerificationError):
        say = _UNTRUSTED.get(error.verify_code, _NOT_TRUSTED)
        return Trouble(f"certificate not accepted: {error.verify_message}", say)
    if isinstance(error, ssl.SSLError):
        return _of_tls(error)
    # asyncio's own text names the call; a name that is not found has a negative number and its own text
    number = error.errno or 0
    why = (os.strerror(number) if number > 0 else error.strerror or str(error)).lower()
    if isinstance(error, socket.gaierror):
        return Trouble(why, "Broker not reached, name unknown. Check its address.")
    if isinstance(error, ConnectionRefusedError):
        return Trouble(why, "Broker not reached, connection refused. Check that it runs.")
    if tls and isinstance(error, ConnectionResetError | ConnectionAbortedError):  # what many say to a handshake
        return Trouble(why, _NOT_SECURE)
    return Trouble(why, f"Broker not reached, {why}. Check network.")


def _of_tls(error: ssl.SSLError) -> Trouble:
    """Return what went wrong in TLS; its library's reason is an alert's name (RFC 8446 section 6.2)."""
    reason = error.reason or "no reason given"
    why = f"TLS: {reason.lower().replace('_', ' ')}"
    if "CERTIFICATE_REQUIRED" in reason:
        say = "Broker refused the watch, certificate wanted. Name one."
    elif any(word in reason for word in _OURS_REFUSED):
        say = "Broker refused the watch, certificate not accepted. Check it."
    elif reason in _NO_TLS:
        say = "Broker not reached, no TLS there. Check its port."
    else:
        say = _NOT_SECURE
    return Trouble(why, say)


def of_connect(error: aiomqtt.MqttError, *, named: bool) -> Trouble:
    """Return why the broker did not accept the connection. `named`: a user name was given."""
    if isinstance(error, ClosedError):
        return Trouble(str(error), "Broker hung up. Check its port, and TLS.")
    code = refusal_code(error)
    if code is None:
        return TIMED_OUT if "timed out" in str(error) else of_loss(error)
    why = str(error.rc if isinstance(error, MqttConnectError) else error).lower()
    if code in _NOT_LET_IN:
        say = (
            "Broker refused the watch, wrong user or password. Correct them."
            if named
            else "Broker refused the watch, no user given. Name one."
        )
    elif code in _OTHER_PROTOCOL:
        say = NO_VERSION.say
    else:
        say = f"Broker refused, {why}. Check its log."
    return Trouble(f"refused: {why}", say)


def of_loss(error: aiomqtt.MqttError) -> Trouble:
    """Return why a connection that stood does no longer."""
    if isinstance(error, TimedOutError) or "timed out" in str(error):
        return Trouble(str(error).lower(), "Broker lost, timed out. Check the network.")
    return Trouble(str(error).lower(), "Broker lost, connection broken. Check network and broker.")


def of_fault(error: Exception) -> Trouble:
    """Return what to say of an error of our own."""
    return Trouble(repr(error), "Messages failed. Look at the log of the watch.")


def refusal_code(error: aiomqtt.MqttError) -> int | None:
    """Return the code of a CONNACK that refused us, None if it is another error."""
    code = error.rc if isinstance(error, MqttConnectError) else None
    return code.value if isinstance(code, ReasonCode) else code


def _messages_refused(code: ReasonCode) -> str:
    if code.value == _NOT_AUTHORISED:
        return "Broker refuses messages, no permission. Check its access rules."
    return f"Broker refuses messages, {str(code).lower()}. Check log."

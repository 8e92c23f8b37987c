"""TLS and passwords at a real broker with a test authority; what is wrong is said in one line, and is mended."""

from __future__ import annotations

import asyncio
import datetime as dt
import os
import signal
import ssl
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import structlog
import trustme

from tests.conftest import ROOT, RequireProgram
from tests.edges.broker_parts import Client, Worker, free_port, worker
from tests.edges.mqtt_parts import Broker, Running, Told
from watchkeeper.edges.configuration import read_configuration, settle
from watchkeeper.edges.mqtt.address import parse_broker
from watchkeeper.edges.mqtt.connection import ASK_AGAIN_S, VersionAsked
from watchkeeper.edges.mqtt.login import Login, Messages
from watchkeeper.errors import BadInputError

SECRET = "s3cret:/@"  # noqa: S105  (of a broker that lives for one test)
NOT_SECURE = "no secure connection. Check port and certificates."
REACHED = "message broker reached"
OLD = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


@dataclass
class Site:
    """A broker with TLS, and everything that it and the watch need, in files that a test may exchange."""

    folder: Path
    ca: trustme.CA
    broker: Broker
    url: str
    told: Told

    def use(self, certificate: trustme.LeafCert) -> None:
        """Give the broker a certificate."""
        (self.folder / "server.pem").write_bytes(certificate.cert_chain_pems[0].bytes())
        (self.folder / "server.key").write_bytes(certificate.private_key_pem.bytes())

    def own(self, certificate: trustme.LeafCert) -> None:
        """Give the watch a certificate, with its key in the same file."""
        (self.folder / "watch.pem").write_bytes(certificate.private_key_and_cert_chain_pem.bytes())

    def password(self, text: str) -> None:
        (self.folder / "password").write_text(text + "\n")

    def messages(self, **more: object) -> Messages:
        keys = {"user": "watch", "password-file": self.folder / "password", "authority": self.folder / "ca.pem"}
        return Messages.model_validate(keys | more)

    async def trouble_then_mended(self, messages: Messages, mend: Callable[[], None], url: str = "") -> str:
        """Run an outlet that fails, mend what is wrong, and see it work; return what was said."""
        told = self.told
        with structlog.testing.capture_logs() as logs:
            async with Running(told.outlet(url or self.url, messages=messages)):
                await told.until(lambda: len(told.reports) == 1)
                failed = sum(log["event"] == "mqtt broker not reached" for log in logs)
                mend()
                await told.until(lambda: told.reports[-1][1])
        assert failed == 1
        assert [(part, ok) for part, ok, _ in told.reports] == [("mqtt", False), ("mqtt", True)]
        assert told.reports[1][2] == REACHED
        assert SECRET not in str(logs) + str(told.reports)
        return told.reports[0][2]


@pytest.fixture
def site(require_program: RequireProgram, tmp_path: Path) -> Iterator[Site]:
    ca = trustme.CA()
    ca.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    program = require_program("mosquitto_passwd")
    subprocess.run([program, "-b", "-c", tmp_path / "passwords", "watch", SECRET], check=True, capture_output=True)
    extra = (
        f"allow_anonymous false\npassword_file {tmp_path / 'passwords'}\n"
        f"cafile {tmp_path / 'ca.pem'}\ncertfile {tmp_path / 'server.pem'}\nkeyfile {tmp_path / 'server.key'}"
    )
    broker = Broker(require_program("mosquitto"), tmp_path, extra)
    site = Site(tmp_path, ca, broker, f"mqtts://localhost:{broker.port}", Told())
    site.use(ca.issue_cert("localhost"))
    site.own(ca.issue_cert("watch.example"))
    site.password(SECRET)
    yield site
    broker.stop()


def started(site: Site) -> Callable[[], None]:
    """Return what starts the broker anew with what is in its files now."""

    def again() -> None:
        site.broker.stop()
        site.broker.start()

    return again


async def test_the_right_certificate_and_password_work(site: Site) -> None:
    site.broker.start()
    told = site.told
    outlet = told.outlet(site.url, messages=site.messages())
    async with Running(outlet):
        await told.until(lambda: told.asked > 2)
    assert outlet.version == 5
    assert told.reports == []


@pytest.mark.parametrize("only_3_1_1", [False, True])
async def test_a_wrong_password(site: Site, only_3_1_1: bool) -> None:
    site.broker.start()
    site.password("wrong")
    told = site.told
    outlet = told.outlet(site.url, messages=site.messages(), only_3_1_1=only_3_1_1)
    async with Running(outlet):
        await told.until(lambda: len(told.reports) == 1)
        site.password(SECRET)
        await told.until(lambda: len(told.reports) == 2)
    assert told.reports == [
        ("mqtt", False, "Broker refused the watch, wrong user or password. Correct them."),
        ("mqtt", True, REACHED),
    ]


async def test_a_certificate_of_an_unknown_authority(site: Site) -> None:
    site.use(trustme.CA().issue_cert("localhost"))
    site.broker.start()

    def mend() -> None:
        site.use(site.ca.issue_cert("localhost"))
        started(site)()

    said = await site.trouble_then_mended(site.messages(), mend)
    assert said == ("Broker not trusted, unknown authority. Name the right authority.")


async def test_a_certificate_for_another_name(site: Site) -> None:
    site.use(site.ca.issue_cert("camp.example"))
    site.broker.start()

    def mend() -> None:
        site.use(site.ca.issue_cert("localhost"))
        started(site)()

    said = await site.trouble_then_mended(site.messages(), mend)
    assert said == "Broker not trusted, certificate of another name. Check its address."


@pytest.mark.parametrize(
    ("after", "before", "words"),
    [
        (OLD, OLD + dt.timedelta(days=30), "certificate expired. Check certificate and clock."),
        (
            OLD + dt.timedelta(days=36500),
            OLD + dt.timedelta(days=36600),
            "not valid yet. Set the clock.",
        ),
    ],
)
async def test_a_certificate_outside_its_time(
    site: Site, after: dt.datetime, before: dt.datetime, words: str
) -> None:
    site.use(site.ca.issue_cert("localhost", not_before=after, not_after=before))
    site.broker.start()

    def mend() -> None:
        site.use(site.ca.issue_cert("localhost"))
        started(site)()

    said = await site.trouble_then_mended(site.messages(), mend)
    assert said.startswith("Broker not trusted, ")
    assert said.endswith(words)


@pytest.mark.parametrize("tls", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
@pytest.mark.parametrize("own", ["none", "unknown", "right"])
async def test_a_broker_that_asks_for_a_certificate(
    site: Site, monkeypatch: pytest.MonkeyPatch, tls: ssl.TLSVersion, own: str
) -> None:
    config = site.folder / "mosquitto.conf"
    config.write_text(config.read_text() + "require_certificate true\n")
    make = ssl.create_default_context

    def limited(cafile: Path) -> ssl.SSLContext:
        context = make(cafile=cafile)
        context.maximum_version = tls
        return context

    monkeypatch.setattr(ssl, "create_default_context", limited)
    site.broker.start()
    told = site.told
    right = site.ca.issue_cert("watch.example")
    if own == "unknown":
        site.own(trustme.CA().issue_cert("watch.example"))
    messages = site.messages(**({} if own == "none" else {"certificate": site.folder / "watch.pem"}))
    async with Running(told.outlet(site.url, messages=messages)):
        if own == "right":
            await told.until(lambda: told.asked > 2)
        else:
            await told.until(lambda: len(told.reports) == 1)
        if own == "unknown":
            site.own(right)
            await told.until(lambda: len(told.reports) == 2)
    if own == "right":
        assert told.reports == []
    elif own == "unknown":
        assert [text for _, _, text in told.reports] == [
            "Broker refused the watch, certificate not accepted. Check it.",
            REACHED,
        ]
    elif tls is ssl.TLSVersion.TLSv1_3:
        assert told.reports[0][2] == ("Broker refused the watch, certificate wanted. Name one.")
    else:  # TLS 1.2 has no alert for it (RFC 5246 section 7.4.6: handshake_failure)
        assert told.reports[0][2] == f"Broker not reached, {NOT_SECURE}"


async def as_a_web_server(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.read(1)
    writer.write(b"HTTP/1.0 400 Bad Request\r\n\r\n")
    writer.close()
    await writer.wait_closed()


async def one_report(told: Told) -> None:
    await told.until(lambda: len(told.reports) == 1)


async def test_tls_where_there_is_none_and_none_where_there_is_tls(
    require_program: RequireProgram, site: Site, tmp_path_factory: pytest.TempPathFactory
) -> None:
    site.broker.start()
    broker = Broker(require_program("mosquitto"), tmp_path_factory.mktemp("plain"))
    broker.start()
    web = await asyncio.start_server(as_a_web_server, "127.0.0.1", 0)
    for url, words in (
        (f"mqtts://127.0.0.1:{broker.port}", f"not reached, {NOT_SECURE}"),
        (
            f"mqtts://127.0.0.1:{web.sockets[0].getsockname()[1]}",
            "not reached, no TLS there. Check its port.",
        ),
        (
            f"mqtt://127.0.0.1:{site.broker.port}",
            "hung up. Check its port, and TLS.",
        ),
    ):
        told = Told()
        messages = site.messages() if url.startswith("mqtts") else Messages()
        async with Running(told.outlet(url, messages=messages)):
            await one_report(told)
        assert told.reports[0][2] == f"Broker {words}"
    broker.stop()
    web.close()


async def test_a_password_from_the_environment_without_tls(
    site: Site, require_program: RequireProgram, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    plain = Broker(
        require_program("mosquitto"), tmp_path, f"allow_anonymous false\npassword_file {tmp_path / 'passwords'}"
    )
    plain.start()
    monkeypatch.setenv("CAMP_PASSWORD", "wrong")
    messages = Messages.model_validate({"user": "watch", "password-variable": "CAMP_PASSWORD"})
    said = await site.trouble_then_mended(
        messages, lambda: monkeypatch.setenv("CAMP_PASSWORD", SECRET), url=plain.url
    )
    plain.stop()
    assert said == "Broker refused the watch, wrong user or password. Correct them."


async def test_a_password_file_that_vanishes_is_said_and_mended(site: Site) -> None:
    site.broker.start()
    messages = site.messages()
    (site.folder / "password").unlink()
    said = await site.trouble_then_mended(messages, lambda: site.password(SECRET))
    assert said == "Broker login, password file: not found. Check it."


def locked_key(folder: Path) -> Path:
    """Return a key under a passphrase; OpenSSL would ask for it on the terminal."""
    key = folder / "locked.key"
    subprocess.run(
        ["openssl", "genrsa", "-aes128", "-passout", "pass:abcd", "-out", key, "2048"],
        check=True,
        capture_output=True,
    )
    return key


def test_files_that_cannot_be_used_are_faults_at_the_start(site: Site, require_program: RequireProgram) -> None:
    require_program("openssl")
    other = site.folder / "other.key"
    other.write_bytes(site.ca.issue_cert("x.example").private_key_pem.bytes())
    (site.folder / "empty").write_text("\n")
    (site.folder / "long").write_text("x" * 2000)
    cases: list[tuple[str, dict[str, object], str]] = [
        (site.url, {"authority": site.folder / "none"}, "authority file: not found; check the file"),
        (site.url, {"authority": site.folder / "password"}, "authority file holds no certificate"),
        (site.url, {"certificate": site.folder / "none"}, "certificate or key: not found"),
        (site.url, {"certificate": site.folder / "ca.pem"}, "certificate or key cannot be used"),
        (site.url, {"certificate": site.folder / "watch.pem", "key": other}, "key does not belong to certificate"),
        (site.url, {"certificate": site.folder / "watch.pem", "key": locked_key(site.folder)}, "passphrase"),
        (site.url, {"key": other}, "key without certificate"),
        (site.url, {"password-file": site.folder / "empty"}, "password file is empty"),
        (site.url, {"password-file": site.folder / "long"}, "password file is too long"),
        (site.url, {"password-file": site.folder}, "password file: is a directory"),
        (site.url, {"user": None}, "password-file without user"),
        ("mqtt://localhost", {}, "without TLS; write mqtts://"),
    ]
    for url, keys, words in cases:
        with pytest.raises(BadInputError, match=words) as caught:
            Login(parse_broker(url), site.messages(**keys)).check()
        assert len(str(caught.value.faults[0]).splitlines()) == 1
    Login(parse_broker(site.url), site.messages(certificate=site.folder / "watch.pem")).check()


def test_the_table_in_the_configuration_file(tmp_path: Path) -> None:
    file = tmp_path / "watch.toml"
    file.write_text(
        'mqtt = "mqtts://camp.example"\n[messages]\nuser = "watch"\npassword-file = "secret"\n'
        'authority = "/ca.pem"\n'
    )
    options = settle({}, read_configuration(file))
    assert options.messages.password_file == tmp_path / "secret"
    assert options.messages.authority == Path("/ca.pem")
    assert settle({"broker": "127.0.0.1:1"}, read_configuration(file)).mqtt is None  # option over file
    file.write_text('[messages]\nuser = "watch"\npasword-file = "x"\n')
    with pytest.raises(
        BadInputError, match=r"watch.toml:3:1: unknown key 'messages.pasword-file'; .*'password-file'"
    ):
        read_configuration(file)
    file.write_text('mqtt = "mqtt://h"\nbroker = "127.0.0.1:1"\n')
    with pytest.raises(BadInputError, match=r"watch.toml:2:1: both mqtt and broker"):
        read_configuration(file)


def test_a_broken_login_ends_the_watch_at_its_start_with_one_line(tmp_path: Path) -> None:
    file = tmp_path / "watch.toml"
    file.write_text('mqtt = "mqtts://camp.example"\n[messages]\nauthority = "none.pem"\n')
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper.cli.main", "watch", "--mute", "--config", file],
        cwd=ROOT,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (
        2,
        f"{tmp_path / 'none.pem'}: authority file: not found; check the file\n",
    )


def test_which_version_is_asked_for() -> None:
    asked = VersionAsked()
    assert [int(version) for version in asked.to_ask(0.0)] == [5, 4]
    asked.refused_5(0.0)
    assert [int(version) for version in asked.to_ask(ASK_AGAIN_S - 1)] == [4]
    assert [int(version) for version in asked.to_ask(ASK_AGAIN_S + 1)] == [5, 4]
    asked.refused_5(0.0)
    asked.forget()
    assert [int(version) for version in asked.to_ask(1.0)] == [5, 4]
    assert [int(version) for version in VersionAsked(only_3_1_1=True).to_ask(0.0)] == [4]


@pytest.fixture
def older() -> Iterator[Worker]:
    with worker() as running:
        yield running


async def test_a_real_broker_without_version_5_is_remembered_over_reconnects(
    older: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = Told()
    outlet = told.outlet(f"mqtt://127.0.0.1:{older.port}")
    asked: list[list[int]] = []
    real = VersionAsked.to_ask

    def to_ask(self: VersionAsked, now_s: float) -> object:
        versions = real(self, now_s)
        asked.append([int(version) for version in versions])
        return versions

    monkeypatch.setattr(VersionAsked, "to_ask", to_ask)
    async with Running(outlet):
        await told.until(lambda: told.asked > 2)
        assert outlet.version == 4
        asked_before = told.asked
        # the same name connects: the broker ends our connection, and we come back
        thief = Client(older.port, outlet._client_id)
        await told.until(lambda: len(asked) >= 2 and told.asked > asked_before + 2)
        thief.close()
    assert asked[:2] == [[5, 4], [4]]


@pytest.mark.timeout(100)
def test_a_password_is_nowhere_to_be_read(site: Site) -> None:
    """Not in the list of processes, on the terminal, in the watch log or in the recording."""
    site.broker.start()
    file = site.folder / "watch.toml"
    file.write_text(
        f'mqtt = "{site.url}"\nstation = "t"\nrecord = "record"\nmute = true\n'
        f'[messages]\nuser = "watch"\npassword-file = "password"\nauthority = "ca.pem"\n'
    )
    watch = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "watchkeeper.cli.main",
            "watch",
            "--from",
            f"udp://127.0.0.1:{free_port()}",
            "--config",
            file,
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    assert watch.stdout is not None
    try:
        said = b""
        while b"messages by" not in said:
            line = watch.stdout.readline()
            assert line, said
            said += line
        listed = Path(f"/proc/{watch.pid}/cmdline").read_bytes()
        site.broker.stop()
        site.password("wrong-" + SECRET)
        site.broker.start()
        while b"wrong user or password" not in said:
            line = watch.stdout.readline()
            assert line, said
            said += line
        watch.send_signal(signal.SIGINT)
        said += watch.stdout.read()
        assert watch.wait(20) == 0
    finally:
        watch.kill()
        watch.wait()
        watch.stdout.close()
    assert SECRET.encode() not in listed + said
    kept = [path for path in (site.folder / "record").rglob("*") if path.is_file()]
    assert kept
    assert not [path for path in kept if SECRET.encode() in path.read_bytes()]

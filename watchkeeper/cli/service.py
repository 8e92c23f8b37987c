"""`watch --print-service`: the unit file by which systemd runs this very watch.

Written by systemd.unit(5), systemd.service(5), systemd.exec(5) and systemd.syntax(7). It is a unit of the system,
not of a user: it starts with the computer, and what it is denied needs no user name spaces.
"""

from __future__ import annotations

import argparse
import grp
import os
import pwd
import sys
import sysconfig
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import watchkeeper
from watchkeeper.errors import bad_input

WATCHDOG_S: Final = 15
"""After the minder's words that the watch hangs (5 s), so that a crew knows before the watch is started anew."""
NAME: Final = "watchkeeper.service"
LEFT_OUT: Final = ("help", "print_service", "quiet")
TEMPORARY: Final = (Path("/tmp"), Path("/var/tmp"))  # noqa: S108  (only looked for, nothing is written there)
_BARE: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-+=./:,@")


def words_of(parser: argparse.ArgumentParser, given: argparse.Namespace) -> list[str]:
    """Return the options that were given, as words that mean the same from any folder."""
    words: list[str] = []
    for action in parser._actions:  # noqa: SLF001  (argparse offers no other way to its options)
        value = getattr(given, action.dest, None)
        if action.dest in LEFT_OUT or not action.option_strings or value in (None, False, []):
            continue
        option = max(action.option_strings, key=len)
        if value is True:
            words.append(option)
            continue
        several = value if isinstance(value, list) else [value]
        words += [f"{option}={one.absolute() if isinstance(one, Path) else one}" for one in several]
    return [*words, "--quiet"]


def quoted(word: str) -> str:
    """Return a word as a unit file has it: quoted where it must be, with specifiers (%) undone.

    BadInputError for what a unit file cannot hold.
    """
    if any(ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) < 0xE000 for c in word):
        raise bad_input(f"a unit file cannot hold {word!r}", "name it without control characters, in UTF-8")
    if word and _BARE.issuperset(word):
        return word
    return '"' + word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%") + '"'


def unit(words: Sequence[str], writes: Iterable[Path], *, serial: bool, mute: bool) -> str:
    """Return the unit file of a watch with these options, which writes into these folders too."""
    program = [f":{sys.executable}", "-m", "watchkeeper.cli.main", "watch", *words]
    folders = sorted({path.absolute() for path in writes})
    package = Path(watchkeeper.__file__).absolute().parent.parent
    installed = str(package) in (sysconfig.get_path("purelib"), sysconfig.get_path("platlib"))
    environment = ["XDG_STATE_HOME=/var/lib", *([] if installed else [f"PYTHONPATH={package}"])]
    who = pwd.getpwuid(os.getuid())
    lines = [
        f"# For /etc/systemd/system/{NAME}; then: systemctl daemon-reload, systemctl enable --now watchkeeper",
        "# How it is: systemctl status watchkeeper. What it says: journalctl -u watchkeeper.",
        "# Rule packs read anew: systemctl reload watchkeeper.",
        *(f"# Make this folder first, writable to {who.pw_name}: {one}" for one in folders if not one.is_dir()),
        "",
        "[Unit]",
        "Description=Watchkeeper, listening beside a ground station and warning its crew",
        "Wants=network-online.target",
        "After=network-online.target sound.target",
        "# Started again for as long as it takes.",
        "StartLimitIntervalSec=0",
        "",
        "[Service]",
        "Type=notify",
        "NotifyAccess=main",
        "# The colon keeps $ as it is.",
        f"ExecStart={' '.join(quoted(word) for word in program)}",
        "ExecReload=kill -HUP $MAINPID",
        f"WatchdogSec={WATCHDOG_S}",
        "Restart=always",
        "RestartSec=2",
        "TimeoutStartSec=120",
        "TimeoutStopSec=10",
        "# The watch only: what it leaves behind when it dies is the process that sounds then.",
        "KillMode=process",
        "OOMPolicy=continue",
        "OOMScoreAdjust=-500",
        "MemoryMax=1G",
        *_user(who, serial=serial, mute=mute),
        f"Environment={' '.join(quoted(one) for one in environment)}",
        "StateDirectory=watchkeeper",
        *([f"ReadWritePaths={' '.join(quoted(str(one)) for one in folders)}"] if folders else []),
        "NoNewPrivileges=yes",
        "CapabilityBoundingSet=",
        "ProtectSystem=strict",
        "ProtectHome=read-only",
        *(
            []
            if _named_in_temporary([sys.executable, str(package), *words, *map(str, folders)])
            else ["PrivateTmp=yes"]
        ),
        "ProtectKernelTunables=yes",
        "ProtectKernelModules=yes",
        "ProtectKernelLogs=yes",
        "ProtectControlGroups=yes",
        "ProtectHostname=yes",
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK",
        "RestrictNamespaces=yes",
        "RestrictSUIDSGID=yes",
        "LockPersonality=yes",
        "SystemCallArchitectures=native",
        "",
        "[Install]",
        "WantedBy=multi-user.target",
    ]
    return "\n".join(lines) + "\n"


def _user(who: pwd.struct_passwd, *, serial: bool, mute: bool) -> list[str]:
    """Return whose process it is, and what it may touch: sound, by that user's server too, and serial ports."""
    if who.pw_uid == 0:
        return ["# It needs no rights of root: name a user of its own, by User=."]
    known = {group.gr_name for group in grp.getgrall()}
    wanted = [*([] if mute else ["audio"]), *(["dialout"] if serial else [])]
    groups = [name for name in wanted if name in known]
    return [
        f"User={who.pw_name}",
        *([f"SupplementaryGroups={' '.join(groups)}"] if groups else []),
        *(
            []
            if mute
            else [f"# Where that user's sound server is.\nEnvironment=XDG_RUNTIME_DIR=/run/user/{who.pw_uid}"]
        ),
    ]


def _named_in_temporary(words: Iterable[str]) -> bool:
    """Whether a file is named that a private /tmp would hide."""
    paths = (Path(word.partition("=")[2] if word.startswith("--") else word) for word in words)
    return any(path.is_relative_to(place) for path in paths for place in TEMPORARY)

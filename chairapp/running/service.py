"""A unit of systemd for a node: starts it with the machine, starts it again, and shuts it in."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from urllib.parse import urlsplit

from chairapp.node.errors import SettingError
from chairapp.node.settings import SETTINGS, read_settings

__all__ = ["unit"]

_NAMES = {"clinic": "clinic server", "chair": "chair node"}


def unit(role: str, program: Path, data: Path, flags: Mapping[str, str | None], user: str = "threemark") -> str:
    """The text of a unit that runs `program ROLE --data DATA` with these flags; the steps stand in it as comments.

    Raises SettingError for a flag the node would refuse, and for one that everybody on the machine would read.
    """
    given = {name: text for name, text in flags.items() if text is not None}
    _check(role, data, given)
    name = f"threemark-{role}.service"
    command = [str(program), role, "--data", str(data), *_as_arguments(given)]
    written = [str(data), *(f"-{given['backup_to']}" for _ in range("backup_to" in given))]
    return _UNIT.format(
        about=_NAMES[role],
        name=name,
        user=user,
        data=_quoted(str(data)),
        printed=f"threemark service {role} --data {_quoted(str(data))}",
        command=" ".join(map(_quoted, command)),
        written=" ".join(map(_quoted, written)),
        home="read-only" if _in_home([program, data]) else "yes",
    )


def _check(role: str, data: Path, given: Mapping[str, str]) -> None:
    if not data.is_absolute():
        raise SettingError(f"--data {data}: write the whole path of the folder, from / on")
    own = {setting.name: setting for setting in SETTINGS if role in setting.roles}
    for name in given:
        if name not in own:
            raise SettingError(f"--{name.replace('_', '-')}: no setting of a {role} node")
    if urlsplit(given.get("store", "")).password:
        raise SettingError("--store: everybody on the machine reads a unit, put the password into ~/.pgpass instead")
    read_settings(role, data, given, {}, {})


def _as_arguments(given: Mapping[str, str]) -> list[str]:
    return [part for name, text in given.items() for part in (f"--{name.replace('_', '-')}", text)]


def _in_home(paths: Sequence[Path]) -> bool:
    return any(path.is_relative_to(home) for path in paths for home in ("/home", "/root"))


def _quoted(text: str) -> str:
    """As systemd reads it: % and $ doubled, the rest in quotes where it needs them."""
    doubled = text.replace("%", "%%").replace("$", "$$")
    if re.fullmatch(r"[\w@%+=:,./$?&-]+", doubled, re.ASCII):
        return doubled
    return '"' + doubled.replace("\\", "\\\\").replace('"', '\\"') + '"'


_UNIT = """\
# Threemark, {about}. As root:
#   1. useradd --system --home-dir {data} --shell /usr/sbin/nologin {user}
#   2. install -d -m 0700 -o {user} -g {user} {data}
#   3. {printed} > /etc/systemd/system/{name}
#      with the further options of the node
#   4. systemctl daemon-reload && systemctl enable --now {name}
#   5. journalctl -u {name} -o cat
#      shows what it says; on a first start the link that sets the clinic up, which is good once and for a day
# After an update: systemctl restart {name}, then threemark doctor --data {data}

[Unit]
Description=Threemark {about}
Wants=network-online.target
After=network-online.target time-sync.target
StartLimitIntervalSec=0

[Service]
Type=exec
ExecStart={command}
User={user}
Group={user}
UMask=0077
Restart=on-failure
RestartSec=5
TimeoutStopSec=120

# It writes to its own folder and nowhere else.
ProtectSystem=strict
ProtectHome={home}
ReadWritePaths={written}
PrivateTmp=yes
PrivateDevices=yes
ProtectProc=invisible
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectClock=yes
ProtectHostname=yes
NoNewPrivileges=yes
CapabilityBoundingSet=
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
"""

"""Every setting of a node in one table. A flag beats the environment beats node.toml beats the default."""

import ipaddress
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from chairapp.box.errors import LabelError
from chairapp.box.label import size_from
from chairapp.box.sheet import sheet_from
from chairapp.node.errors import SettingError

__all__ = ["ENVIRONMENT", "SETTINGS", "Setting", "Settings", "is_loopback", "read_settings"]

ENVIRONMENT = "THREEMARK_"
Flags = Mapping[str, str | None]
ROLES = ("chair", "clinic")


@dataclass(frozen=True)
class Setting:
    """`read` turns the text of a flag, a variable or a file into the value, or raises ValueError with what to do."""

    name: str
    default: str | None
    help: str
    read: Callable[[str], Any]
    roles: tuple[str, ...] = ROLES
    value: str = "TEXT"

    @property
    def flag(self) -> str:
        return "--" + self.name.replace("_", "-")


@dataclass(frozen=True)
class Settings:
    """What one node runs with. `store` is None where the role's own file in `data` is meant."""

    role: str
    data: Path
    host: str
    port: int
    label_size: tuple[float, float]
    clinic: str | None = None
    store: str | None = None
    sequence: Path | None = None
    label_address: str | None = None
    keep_days: int = 90
    label_sheet: str | None = None
    paper: Literal["a4", "letter"] = "a4"
    overdue_days: int = 14
    access_days: int = 3650
    idle_minutes: int = 30
    demo: bool = False
    pair: str = ""
    backup_to: Path | None = None
    backup_hour: int = 21
    backup_keep: int = 14
    backup_days: int = 2
    log_file: bool = False
    retention_days: int | None = None

    @property
    def address(self) -> str:
        """Where this node's own pages come from."""
        host = self.host.strip("[]")
        return f"http://[{host}]:{self.port}" if ":" in host else f"http://{host}:{self.port}"


def _host(text: str) -> str:
    if not is_loopback(text):
        raise ValueError("only 127.0.0.1 in this version: nobody signs in yet, so whoever reaches the port is in")
    return text


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise ValueError("a port is a number from 1 to 65535")
    return int(text)


def _url(text: str) -> str:
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.path.strip("/") or parts.query:
        raise ValueError("write the clinic server's address such as http://127.0.0.1:8090")
    if parts.scheme == "http" and not is_loopback(parts.hostname):
        raise ValueError("plain http is for this machine only: use https")
    return text.rstrip("/")


def _store(text: str) -> str:
    if not text.startswith(("sqlite:///", "postgresql+psycopg://")):
        raise ValueError("write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME")
    return text


def _file(text: str) -> Path:
    if not Path(text).is_file():
        raise ValueError("there is no such file")
    return Path(text)


def _address(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9.-]+(?::\d{1,5})?", text):
        raise ValueError("write a host name, with :PORT where it needs one")
    return text


def _days(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 36500:
        raise ValueError("write a number of days, 1 or more")
    return int(text)


def _hour(text: str) -> int:
    if not text.isdecimal() or int(text) > 23:
        raise ValueError("write an hour from 0 to 23")
    return int(text)


def _folder(text: str) -> Path:
    # Whether it is there is asked every night: a disk that is away keeps no node from starting.
    if not Path(text).is_absolute():
        raise ValueError("write the whole path of a folder, from / on")
    return Path(text)


def _how_many(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 3650:
        raise ValueError("write a number from 1 to 3650")
    return int(text)


def _minutes(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 720:
        raise ValueError("write a number of minutes from 1 to 720")
    return int(text)


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("write yes or no")
    return text == "yes"


def _label_size(text: str) -> tuple[float, float]:
    try:
        return size_from(text)
    except LabelError as error:
        raise ValueError(str(error).partition(": ")[2]) from None


def _label_sheet(text: str) -> str:
    try:
        sheet_from(text, (0, 0))
    except LabelError as error:
        raise ValueError(str(error).partition(": ")[2]) from None
    return text


def _paper(text: str) -> str:
    if text.lower() not in ("a4", "letter"):
        raise ValueError("write a4 or letter")
    return text.lower()


SETTINGS = (
    Setting("host", "127.0.0.1", "address to listen on; only this machine in this version", _host, value="ADDRESS"),
    Setting("port", None, "port to listen on: 8080 for a chair node, 8090 for a clinic server", _port, value="PORT"),
    Setting("clinic", None, "address of the clinic server, http://127.0.0.1:8090", _url, ("chair",), "URL"),
    Setting(
        "store",
        None,
        "database: sqlite:///FILE or postgresql+psycopg://...; DIR/clinic.sqlite when left out",
        _store,
        ("clinic",),
        "URL",
    ),
    Setting(
        "sequence", None, "TOML file with this clinic's own bands, required flags and texts", _file, ("clinic",), "FILE"
    ),
    Setting(
        "label_address",
        None,
        "host, with its port, that the symbol on a label leads to; its own",
        _address,
        ("clinic",),
        "HOST",
    ),
    Setting(
        "keep_days",
        "90",
        "how long a finished visit stays here, once it is in the clinic's verified backup",
        _days,
        ("chair",),
        "DAYS",
    ),
    Setting("label_size", "57x32", "width x height of the label stock in mm", _label_size, value="WxH"),
    Setting(
        "label_sheet",
        None,
        "labels on an A4 sheet: columns x rows, 3x8, with gaps in mm 3x7+2.5+0; as many as fit",
        _label_sheet,
        value="CxR",
    ),
    Setting("paper", "a4", "paper of a prescription: a4 or letter", _paper, value="PAPER"),
    Setting("overdue_days", "14", "days at the laboratory after which a box is overdue", _days, value="DAYS"),
    Setting("access_days", "3650", "days to keep who looked at what; local law decides", _days, value="DAYS"),
    Setting("idle_minutes", "30", "minutes without use after which somebody is signed out", _minutes, value="MINUTES"),
    Setting("backup_to", None, "folder, on another disk, for a backup every night", _folder, ("clinic",), "FOLDER"),
    Setting("backup_hour", "21", "hour of the clinic's day for it, 0 to 23", _hour, ("clinic",), "HOUR"),
    Setting("backup_keep", "14", "how many of them to keep", _how_many, ("clinic",), "COUNT"),
    Setting("backup_days", "2", "days after which a manager is told the backup is old", _days, ("clinic",), "DAYS"),
    Setting(
        "retention_days",
        None,
        "days after which a visit is listed for a manager to erase; local law decides; nothing is erased by itself",
        _days,
        ("clinic",),
        "DAYS",
    ),
    Setting("log_file", "no", "yes: the log also goes to DIR/log/node.log, 5 files of 5 MB", _yes, value="YES"),
    Setting("demo", "no", "yes: nobody has to sign in, for invented people only; as in the demo", _yes, value="YES"),
    Setting("pair", "", "one-time code of the clinic by which this node is paired", str, ("chair",), "CODE"),
)
_PORTS = {"chair": "8080", "clinic": "8090"}


def read_settings(
    role: str, data: Path, flags: Flags, environment: Mapping[str, str], file: Mapping[str, Any]
) -> Settings:
    """The settings of a `role` node with its data in `data`.

    Raises SettingError for a name nobody knows and for a value that cannot be meant.
    """
    own = {setting.name: setting for setting in SETTINGS if role in setting.roles}
    _refuse_strange_names(own, environment, file)
    found = {name: _value(setting, role, flags, environment, file) for name, setting in own.items()}
    if role == "chair" and found["clinic"] is None:
        raise SettingError("--clinic: missing, a chair node needs the address of its clinic server")
    return Settings(role=role, data=data, **found)


def is_loopback(host: str) -> bool:
    """Whether this name or address never leaves the machine."""
    name = host.strip("[]").lower()
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _value(setting: Setting, role: str, flags: Flags, environment: Mapping[str, str], file: Mapping[str, Any]) -> Any:
    variable = ENVIRONMENT + setting.name.upper()
    default = _PORTS[role] if setting.name == "port" else setting.default
    for where, text in (
        (setting.flag, flags.get(setting.name)),
        (variable, environment.get(variable)),
        (f"node.toml {setting.name}", file.get(setting.name)),
        (setting.flag, default),
    ):
        if text is not None:
            return _read(setting, where, str(text))
    return None


def _read(setting: Setting, where: str, text: str) -> Any:
    try:
        return setting.read(text.strip())
    except ValueError as error:
        raise SettingError(f"{where} {text!r}: {error}") from None


def _refuse_strange_names(own: Mapping[str, Setting], environment: Mapping[str, str], file: Mapping[str, Any]) -> None:
    everywhere = {ENVIRONMENT + setting.name.upper() for setting in SETTINGS} | {ENVIRONMENT + "DATA"}
    for name in environment:
        if name.startswith(ENVIRONMENT) and name not in everywhere:
            raise SettingError(f"{name}: no such setting{_meant(name, everywhere)}")
    for name in file:
        if name not in own and name not in ("role", "node"):
            raise SettingError(f"node.toml {name}: no such setting{_meant(name, own)}")


def _meant(name: str, known: Any) -> str:
    near = get_close_matches(name, known, n=1)
    return f", did you mean {near[0]}?" if near else ""

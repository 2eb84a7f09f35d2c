"""The commands. Exit codes: 0 done, 1 the answer is no, 2 bad input or usage; every error is one line on stderr."""

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn

from chairapp.box.errors import BoxError, NoSignature
from chairapp.clinic import ClinicError
from chairapp.export.errors import ExportError
from chairapp.judge.errors import InputError
from chairapp.node.errors import NodeError
from chairapp.node.settings import ENVIRONMENT, SETTINGS
from sync.errors import SyncError

__all__ = ["main"]

DONE, NO, BAD = 0, 1, 2
Given = argparse.Namespace

# Servers, drawing and judging are imported by the command that needs them: `threemark --help` answers at once.


class _No(Exception):
    """The command worked and the answer is no."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; gives its exit code. Usage errors and --help leave by SystemExit, as argparse does it."""
    given = _parser().parse_args(argv)
    try:
        code = int(given.run(given) or DONE)
        sys.stdout.flush()
        return code
    except (_No, NoSignature) as no:
        return _say(given.command, str(no), NO)
    except (BoxError, ClinicError, ExportError, InputError, NodeError) as error:
        return _say(given.command, str(error), BAD)
    except SyncError as error:
        return _say(given.command, f"{error.why} {error.do}", BAD)
    except BrokenPipeError:
        # The reader of a pipe went away (`| head`): nothing more to say, and nobody to say it to.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE


def _say(command: str, sentence: str, code: int) -> int:
    print(f"threemark {command}: {' '.join(sentence.split())}", file=sys.stderr)
    return code


# ---- the words of the command line


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(BAD, f"{self.prog}: {message}; see {self.prog} --help\n")


def _parser() -> argparse.ArgumentParser:
    about = "Walks a clinician through the shaping of two wax rims, judges every reading on the spot, keeps the record."
    parser = _Parser(prog="threemark", description=about, allow_abbrev=False)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (
        _add_demo,
        _add_chair,
        _add_clinic,
        _add_judge,
        _add_label,
        _add_prescription,
        _add_export,
        _add_verify,
        *_KEEPING,
        _add_doctor,
        _add_service,
    ):
        add(commands)
    return parser


def _command(commands: Any, name: str, about: str, run: Callable[[Given], int | None]) -> _Parser:
    command: _Parser = commands.add_parser(name, help=about, description=f"{about}.", allow_abbrev=False)
    command.set_defaults(run=run)
    return command


def _add_demo(commands: Any) -> None:
    demo = _command(commands, "demo", "run a clinic server and a chair node with invented visits", _demo)
    demo.add_argument(
        "--port", type=_port_with_next, default=8080, help="of the chair node; the clinic server is at port+10"
    )
    demo.add_argument("--data", type=Path, metavar="DIR", help="keep the data here; a temporary folder when left out")
    demo.add_argument("--no-browser", action="store_true", help="do not open a browser")


def _add_chair(commands: Any) -> None:
    _add_settings(
        _command(commands, "chair", "run a chair node, which works with the clinic server away", _node), "chair"
    )


def _add_clinic(commands: Any) -> None:
    _add_settings(_command(commands, "clinic", "run the clinic server", _node), "clinic")


def _add_settings(command: _Parser, role: str) -> None:
    """Every setting of the role as a flag; what is not given comes from the environment or node.toml."""
    command.add_argument("--data", type=Path, metavar="DIR", help=f"the data folder (or {ENVIRONMENT}DATA)")
    for setting in SETTINGS:
        if role in setting.roles:
            default = f" (default {setting.default})" if setting.default else ""
            command.add_argument(setting.flag, dest=setting.name, metavar=setting.value, help=setting.help + default)


def _add_judge(commands: Any) -> None:
    judge = _command(commands, "judge", "judge a case file and print the verdict as JSON", _judge)
    judge.add_argument("file", metavar="FILE", help="a case file; - reads standard input")
    judge.add_argument("--sequence", metavar="FILE.toml", help="a clinic's own bands, required flags and texts")


def _add_label(commands: Any) -> None:
    label = _command(commands, "label", "make the label of a case box", _label)
    label.add_argument("code", metavar="BOX_CODE", help="the box code, 7KQ4-M2X9; hyphen and case do not matter")
    label.add_argument(
        "--data", type=Path, metavar="DIR", required=True, help="the data folder of a node, running or not"
    )
    label.add_argument("--out", type=Path, metavar="FILE", required=True, help="FILE.pdf, FILE.svg or FILE.png")
    label.add_argument("--dpi", type=int, choices=(203, 300), default=203, help="of the label printer, for PNG")
    label.add_argument("--size", metavar="WxH", help="of the label stock in mm; the node's label_size when left out")


def _add_prescription(commands: Any) -> None:
    about = "make the prescription that goes to the laboratory with a case box"
    prescription = _command(commands, "prescription", about, _prescription)
    prescription.add_argument("code", metavar="BOX_CODE", help="the box code, 7KQ4-M2X9; hyphen and case do not matter")
    prescription.add_argument(
        "--data", type=Path, metavar="DIR", required=True, help="the data folder of a node, running or not"
    )
    prescription.add_argument("--out", type=Path, metavar="FILE", required=True, help="FILE.pdf")
    prescription.add_argument("--paper", choices=("a4", "letter"), help="the node's paper when left out")


def _add_export(commands: Any) -> None:
    export = _command(
        commands, "export", "write visits to files, for a spreadsheet, another system or safekeeping", _export
    )
    _add_where(export)
    export.add_argument(
        "--format",
        choices=("fhir", "csv", "json"),
        required=True,
        help="FHIR R4, tables, or the full record to re-check",
    )
    export.add_argument(
        "--out", type=Path, metavar="PATH", required=True, help="a file; tables go to a folder or a .zip"
    )
    export.add_argument("--since", metavar="DAY", help="visits opened on this day or later, 2026-12-31")
    export.add_argument("--until", metavar="DAY", help="visits opened on this day or before")
    one = export.add_mutually_exclusive_group()
    one.add_argument("--code", metavar="BOX_CODE", help="the record of one box only, with who looked at it")
    one.add_argument("--visit", metavar="ID", help="the record of one visit only, the same")


def _add_verify(commands: Any) -> None:
    verify = _command(commands, "verify", "walk the chain of a node's entries and check every signature", _verify)
    _add_where(verify)


def _add_backup(commands: Any) -> None:
    backup = _command(commands, "backup", "write everything a node holds to one file, and read it again", _backup)
    _add_where(backup)
    backup.add_argument("--to", type=Path, metavar="FILE", required=True, help="replaced only by a whole new backup")


def _add_restore(commands: Any) -> None:
    restore = _command(commands, "restore", "make a node's data from a backup, on a machine without it", _restore)
    restore.add_argument("--data", type=Path, metavar="DIR", help="a folder that is new or empty")
    restore.add_argument("--store", metavar="URL", help="an empty database; alone, it gets the entries only")
    restore.add_argument("--from", dest="source", type=Path, metavar="FILE", required=True, help="a backup")


def _add_import(commands: Any) -> None:
    taking = _command(commands, "import", "take in what a tablet saved to a file", _import)
    about = "as the tablet saved it; taking it in twice does no harm"
    file = taking.add_mutually_exclusive_group(required=True)
    file.add_argument("file", type=Path, nargs="?", metavar="FILE", help=about)
    file.add_argument("--from", dest="source", type=Path, metavar="FILE", help="the same")
    _add_where(taking)


def _add_erase(commands: Any) -> None:
    erase = _command(
        commands, "erase", "take the value of one entry away, at the clinic server and all that follow", _erase
    )
    erase.add_argument("entry", metavar="ENTRY_ID", help="the id of the entry")
    erase.add_argument("--data", type=Path, metavar="DIR", required=True, help="the data folder of the clinic server")
    erase.add_argument("--reason", required=True, metavar="TEXT", help="why; it stays for good")
    erase.add_argument("--author", required=True, metavar="STAFF_ID", help="a manager of the clinic")


def _add_doctor(commands: Any) -> None:
    doctor = _command(commands, "doctor", "check this installation and a node's data, and say what to do", _doctor)
    doctor.add_argument("--data", type=Path, metavar="DIR", help=f"the folder of a node (or {ENVIRONMENT}DATA)")


def _add_service(commands: Any) -> None:
    service = _command(commands, "service", "print a unit of systemd that runs a node, with the steps", _service)
    service.add_argument("role", choices=("clinic", "chair"), help="which node")
    service.add_argument("--data", type=Path, metavar="DIR", required=True, help="its data folder, the whole path")
    service.add_argument("--user", metavar="NAME", default="threemark", help="whom it runs as (default threemark)")
    for setting in _SERVED:
        service.add_argument(setting.flag, dest=setting.name, metavar=setting.value, help=setting.help)


# A service is no demonstration, and a one-time code is of no use when it starts again.
_SERVED = tuple(setting for setting in SETTINGS if setting.name not in ("demo", "pair"))
_KEEPING = (_add_backup, _add_restore, _add_import, _add_erase)


def _add_where(command: _Parser) -> None:
    where = command.add_mutually_exclusive_group(required=True)
    where.add_argument("--data", type=Path, metavar="DIR", help="the data folder of a node, running or not")
    where.add_argument("--store", metavar="URL", help="a clinic server's database")


def _port_with_next(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65525:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: a number from 1 to 65525")
    return int(text)


# ---- what the commands do


def _demo(given: Given) -> int:
    from chairapp.node.demo import run_demo

    return run_demo(given.port, given.data, not given.no_browser)


def _node(given: Given) -> None:
    from chairapp.node.folder import make_folder, open_folder
    from chairapp.node.log import start_log
    from chairapp.node.settings import read_settings
    from chairapp.server import serve

    role = given.command
    data = _data(given)
    if data is None:
        raise NodeError(f"--data: missing, name the folder this {role} node keeps its data in")
    flags = {setting.name: getattr(given, setting.name) for setting in SETTINGS if role in setting.roles}
    known = open_folder(data).file if (data / "FORMAT").exists() else {}
    settings = read_settings(role, data, flags, os.environ, known)
    # A folder makes no demonstration of a node, and a one-time code is of no use later.
    folder = make_folder(data, role, {name: text for name, text in flags.items() if name not in ("demo", "pair")})
    start_log(file=folder.path / "log" / "node.log" if settings.log_file else None)
    serve(settings, folder)


def _data(given: Given) -> Path | None:
    named = given.data or os.environ.get(f"{ENVIRONMENT}DATA")
    return Path(named) if named else None


def _judge(given: Given) -> None:
    from chairapp.case import judge_file

    print(json.dumps(judge_file(given.file, given.sequence), ensure_ascii=False, indent=1))


def _label(given: Given) -> None:
    from chairapp.node.reading import label_file

    label_file(given.code, given.data, given.out, given.dpi, given.size, os.environ, datetime.now(UTC))


def _prescription(given: Given) -> None:
    from chairapp.node.reading import prescription_file

    prescription_file(given.code, given.data, given.out, given.paper, os.environ)


def _export(given: Given) -> None:
    from chairapp.node.exporting import export_all

    asked = {name: getattr(given, name) for name in ("since", "until", "code", "visit")}
    print(export_all(given.data, given.store, given.format, given.out, os.environ, **asked))


def _verify(given: Given) -> None:
    from chairapp.node.reading import check_all

    checked = check_all(given.data, given.store)
    if checked.flaw:
        raise _No(checked.flaw)
    print(checked.sentence)


def _backup(given: Given) -> None:
    from chairapp.node.keeping import backup_all

    print(backup_all(given.data, given.store, given.to))


def _restore(given: Given) -> None:
    from chairapp.node.keeping import restore_all

    if not (given.data or given.store):
        raise NodeError("--data: missing, name a new folder for the node, or --store for a database alone")
    print(restore_all(given.data, given.store, given.source))


def _import(given: Given) -> None:
    from chairapp.node.keeping import import_file

    file = given.file or given.source
    taken = import_file(given.data, given.store, file, os.environ)
    print(f"{file}: {taken.new} entries are new, {taken.known} were known, {taken.blobs} attachments.")
    if taken.refused:
        place, first = taken.refused[0]
        why = f"the first is number {place + 1}: {first.field} {first.why}"
        raise _No(f"{file}: {len(taken.refused)} were not taken and are in the drawer; {why}")


def _erase(given: Given) -> None:
    from chairapp.node.keeping import erase_value

    print(erase_value(given.data, given.entry, given.reason, given.author, os.environ))


def _doctor(given: Given) -> int:
    from chairapp.running.doctor import WRONG, examine

    wrong = False
    for line in examine(_data(given), os.environ):
        print(line, flush=True)
        wrong = wrong or line.how == WRONG
    return NO if wrong else DONE


def _service(given: Given) -> None:
    from chairapp.running.service import unit

    program = Path(sys.argv[0]).resolve() if Path(sys.argv[0]).name == "threemark" else Path("/usr/bin/threemark")
    flags = {setting.name: getattr(given, setting.name) for setting in _SERVED}
    print(unit(given.role, program, given.data, flags, given.user), end="")


if __name__ == "__main__":
    sys.exit(main())

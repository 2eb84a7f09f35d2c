"""An export on its way to the disk: made beside, whole, readable by its owner only, then put in place."""

import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal, get_args

from chairapp.export.csv_files import write_tables
from chairapp.export.errors import OutError
from chairapp.export.fhir import write_bundle
from chairapp.export.record_file import write_record
from chairapp.export.source import Progress, Source, ignore

__all__ = ["FORMATS", "Format", "check_out", "write_export"]

Doc = dict[str, Any]
Format = Literal["csv", "fhir", "json"]
FORMATS: tuple[Format, ...] = get_args(Format)


def write_export(
    source: Source,
    kind: Format,
    out: Path,
    made: str,
    sequences: Sequence[tuple[str, Doc]] = (),
    progress: Progress = ignore,
) -> int:
    """Write the visits asked for to `out`; gives how many they are. What was there before stays until this is whole.

    csv makes a folder, or a ZIP where `out` ends in .zip; fhir and json one file. `sequences` are those the node keeps,
    by digest. Raises OutError, and what `Source.each` raises; nothing of the export is then left.
    """
    check_out(kind, out)
    try:
        if kind == "csv":
            return _tables(source, out, made, progress)
        with _beside(out) as fresh:
            if kind == "fhir":
                with fresh.open("w", encoding="utf-8", newline="\n") as text:
                    count = write_bundle(source, text, made, progress)
            else:
                with fresh.open("wb") as file:
                    count = write_record(source, file, sequences, made, progress)
            _put(fresh, out)
        return count
    except OSError as error:
        raise OutError(f"--out {out}: cannot be written: {error.strerror or error}") from None


def check_out(kind: Format, out: Path) -> None:
    """Raises OutError for a place where this format cannot go."""
    if not out.parent.is_dir():
        raise OutError(f"--out {out}: there is no folder {out.parent}")
    if kind != "csv":
        if out.is_dir():
            raise OutError(f"--out {out}: that is a folder, name a file such as {out / f'visits.{kind}.json'}")
    elif out.suffix.lower() == ".zip":
        if out.is_dir():
            raise OutError(f"--out {out}: that is a folder, name a file")
    elif out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise OutError(f"--out {out}: tables go into a new or empty folder, or into a file that ends in .zip")


def _tables(source: Source, out: Path, made: str, progress: Progress) -> int:
    folder = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    try:
        count = write_tables(source, folder, made, progress)
        if out.suffix.lower() == ".zip":
            with _beside(out) as fresh:
                _zip(folder, fresh)
                _put(fresh, out)
        else:
            os.replace(folder, out)
        return count
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _zip(folder: Path, file: Path) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for table in sorted(folder.iterdir()):
            archive.write(table, table.name)


@contextmanager
def _beside(out: Path) -> Iterator[Path]:
    """A file beside `out`, for its owner only, that is gone afterwards unless it was put in place."""
    handle, name = tempfile.mkstemp(prefix=f".{out.name}.", dir=out.parent)
    os.close(handle)
    try:
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def _put(fresh: Path, out: Path) -> None:
    with fresh.open("rb") as file:
        os.fsync(file.fileno())
    os.replace(fresh, out)

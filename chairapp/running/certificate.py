"""When the certificates of a node end, where it has any."""

from collections.abc import Iterator
from pathlib import Path

from cryptography import x509

__all__ = ["ends_ms"]


def ends_ms(folder: Path) -> int | None:
    """The earliest end, ms since 1970, of the certificates (PEM) in this folder and below; None where there is none."""
    ends = [certificate.not_valid_after_utc.timestamp() for certificate in _certificates(folder)]
    return int(min(ends) * 1000) if ends else None


def _certificates(folder: Path) -> Iterator[x509.Certificate]:
    for file in sorted(folder.rglob("*")):
        if file.suffix in (".pem", ".crt") and file.is_file() and b"BEGIN CERTIFICATE" in (data := file.read_bytes()):
            yield from x509.load_pem_x509_certificates(data)

"""What can go wrong in `sync`, as one tree.

SyncError
  CursorError         a cursor that this kind of store never gave out
  BatchError          a request body that is not a batch
  BodyTooLarge        more bytes than a call may carry
  BodyTooSlow         a body that did not arrive in time
  EncodingError       a body in an encoding we do not read
  ProtocolError       the other side speaks another protocol
  NotPaired           no token, or one nobody here knows
  NotAllowed          a token that may not do this
  NotFound            nothing under this name
  BlobError           bytes that do not have the digest they were sent under
  HopError            the other side could not be reached, or did not answer as one does
    HopRefused        it said no
  StoreError
    StoreInUse        another process writes to this store
    StoreFull         an entry could not be written; nothing of it was kept
    StoreBroken       the disk failed; writing is refused until the store is opened again
    StoreNewer        made by a newer program
    StoreImmutable    something tried to change or remove an entry
    StoreReadOnly     opened for reading
    StoreOlder        made by an older program, and opened for reading only
    StoreNotEmpty     something would be put over what is there
  BackupError         a backup that cannot be written, or is not whole
  FileError           a file handed in by hand that cannot be read
"""

from typing import ClassVar


class SyncError(Exception):
    """Every error of this package. `field`, `why` and `do` are what a person is shown; `status` is its HTTP answer."""

    status: ClassVar[int] = 500
    do: ClassVar[str] = "Try again; if it stays, tell whoever looks after this computer."
    field: str

    def __init__(self, why: str, *, field: str = "") -> None:
        super().__init__(why)
        self.why = why
        self.field = field

    def as_json(self) -> dict[str, dict[str, str]]:
        """The one shape of every error of the API."""
        return {"error": {"field": self.field, "why": self.why, "do": self.do}}


class CursorError(SyncError):
    status = 400
    do = "Start again without a cursor."


class BatchError(SyncError):
    status = 422
    do = 'Send {"entries": [...]} with at most 500 entries, as JSON in UTF-8.'


class BodyTooLarge(SyncError):
    status = 413
    do = "Send fewer entries, or a smaller file, at a time."


class BodyTooSlow(SyncError):
    status = 408
    do = "Send it again when the connection is better."


class EncodingError(SyncError):
    status = 415
    do = "Send the body plain or with Content-Encoding: gzip."


class ProtocolError(SyncError):
    status = 400
    do = "Nothing is lost: after the update everything is sent by itself."


class NotPaired(SyncError):
    status = 401
    do = "Pair this device with the clinic again."


class NotAllowed(SyncError):
    status = 403
    do = "Ask the practice manager to pair this device again."


class NotFound(SyncError):
    status = 404
    do = "Check the address."


class BlobError(SyncError):
    status = 422
    do = "Send the file again under the SHA-256 of its bytes, 64 lower-case hexadecimal digits."


class HopError(SyncError):
    status = 502
    do = "Nothing is lost; it is tried again by itself."


class HopRefused(HopError):
    """`answered` is the HTTP status of the other side's answer."""

    def __init__(self, why: str, answered: int) -> None:
        super().__init__(why)
        self.answered = answered


class StoreError(SyncError):
    status = 503


class StoreInUse(StoreError):
    do = "Stop the other program that has this data folder open, then try again."


class StoreFull(StoreError):
    do = "Free some space on the disk; what was sent is still with the sender and comes again by itself."


class StoreBroken(StoreError):
    do = "Check the disk, then start the node again."


class StoreAway(StoreError):
    do = "Check that the database runs and that its disk has room; what was sent is still with the sender."


class StoreMissing(StoreError):
    do = "Check the data folder or the store's address; starting a node there makes a store."


class StoreNewer(StoreError):
    do = "Start it with the newer program that made it."


class StoreImmutable(StoreError):
    do = "Add a further entry that withdraws the earlier one."


class StoreReadOnly(StoreError):
    do = "Open the store for writing."


class StoreOlder(StoreError):
    do = "Start the node once with this program, which brings its store up to date."


class StoreNotEmpty(StoreError):
    do = "Name a new folder or an empty database."


class BackupError(SyncError):
    do = "Take another backup, or another place for it."


class FileError(SyncError):
    do = "Save it on the tablet again."

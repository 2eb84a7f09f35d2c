"""What can go wrong in `people`, as one tree.

PeopleError
  NobodyHere      a staff id that the clinic document does not name
  WrongPin        not the PIN of this person
  WeakPin         a new PIN that is too short or guessed first
  PinLocked       too many wrong PINs; the next try has to wait
  SignedOut       the session of a page ended while it stood open
  NoKey           what should be a public key is none
  LastManager     a change after which nobody could manage the clinic
"""

from typing import ClassVar

from sync.errors import SyncError


class PeopleError(SyncError):
    """`field`, `why` and `do` are what a person is shown; `status` is the HTTP answer."""


class NobodyHere(PeopleError):
    status: ClassVar[int] = 404
    do: ClassVar[str] = "Ask the practice manager."


class WrongPin(PeopleError):
    status: ClassVar[int] = 403
    do: ClassVar[str] = "Try again."


class WeakPin(PeopleError):
    status: ClassVar[int] = 422
    do: ClassVar[str] = "Choose another one."


class PinLocked(PeopleError):
    status: ClassVar[int] = 429
    do: ClassVar[str] = "Wait, then try again."
    seconds: int = 0
    """How long to wait."""


class SignedOut(PeopleError):
    status: ClassVar[int] = 401
    do: ClassVar[str] = "Sign in again."


class NoKey(PeopleError):
    status: ClassVar[int] = 422
    do: ClassVar[str] = "Load the page again."


class LastManager(PeopleError):
    status: ClassVar[int] = 409
    do: ClassVar[str] = "Make somebody else a manager first."

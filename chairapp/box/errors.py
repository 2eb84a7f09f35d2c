"""What can go wrong around the case box.

BoxError
├── CodeError     what was typed is no box code, or not one this clinic knows
├── LabelError    the label cannot be made (size, text, address)
├── NoSignature   a label needs a valid signature of the visit
├── MoveError     the box cannot be moved so, or the day it is wanted is none
├── PackingError  what was typed of the packing cannot be
└── OutcomeError  the form of the try-in is not filled in
"""

__all__ = ["BoxError", "CodeError", "LabelError", "MoveError", "NoSignature", "OutcomeError", "PackingError"]


class BoxError(Exception):
    """`str(error)` is the one sentence a user sees."""


class CodeError(BoxError):
    def __init__(self, sentence: str, suggestions: tuple[str, ...] = ()) -> None:
        self.suggestions = suggestions
        super().__init__(sentence)


class LabelError(BoxError):
    pass


class NoSignature(BoxError):
    pass


class MoveError(BoxError):
    pass


class OutcomeError(BoxError):
    pass


class PackingError(BoxError):
    pass

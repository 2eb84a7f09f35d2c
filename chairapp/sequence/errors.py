"""What a person handed in that cannot be used.

chairapp.judge.errors.InputError
└── InputError      a case file, an override or an entry; names the file too
"""

from chairapp.judge.errors import InputError as JudgeInputError

__all__ = ["InputError", "JudgeInputError"]


class InputError(JudgeInputError):
    """`str(error)` is the one line a user sees: file, field, what is wrong, what to do."""

    def __init__(self, field: str, why: str, do: str, file: str = "") -> None:
        super().__init__(field, why, do)
        self.file = file

    def __str__(self) -> str:
        line = ": ".join(part for part in (self.file, self.field, f"{self.why}; {self.do}") if part)
        # What was given may hold line breaks or half characters; the message stays one line that any terminal shows.
        return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line)

    def within(self, file: str) -> "InputError":
        """The same error, known to be about that file."""
        return InputError(self.field, self.why, self.do, file)

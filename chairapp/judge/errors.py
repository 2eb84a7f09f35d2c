"""What the judge refuses. One tree: InputError is the only thing any input, however odd, may raise."""


class InputError(ValueError):
    """The entries or the sequence are not of the shape the judge reads.

    `field` names what is wrong, `why` says what is wrong with it, `do` what to do.
    """

    def __init__(self, field: str, why: str, do: str) -> None:
        super().__init__(field + ": " + why + " " + do)
        self.field = field
        self.why = why
        self.do = do

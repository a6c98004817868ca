"""How a computation says no: a stable code, the part that is wrong, and what was given."""


class RefusedValueError(ValueError):
    """A value that a computation cannot take.

    Doors turn it into an answer in the reader's language; the text here is for developers.

    Parameters
    ----------
    code : str
        Stable and machine-read, such as ``"not_an_instant"``.
    part : str
        Which part of the input is wrong: a field name or a rule part such as ``"BYDAY"``.
    given : object
        What was given, as far as it is short enough to be shown.
    """

    def __init__(self, code: str, part: str, given: object = "") -> None:
        super().__init__(f"{part}: {code}: {given!r}")
        self.code = code
        self.part = part
        self.given = str(given)[:80]

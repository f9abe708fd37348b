"""The one error of the package."""

from __future__ import annotations


class Error(ValueError):
    """What could not be done, in the program's words.

    ``str(error)`` is the message, and below it the hint what to do next. A message about a scenario names its file, line and key, the value
    and what is allowed.

    Attributes:
        message: what is wrong, one sentence.
        hint: what to do next; ``None`` where nobody can say.
    """

    message: str
    hint: str | None

    def __init__(self, message: str, hint: str | None = None) -> None:
        super().__init__(message, hint)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return self.message if self.hint is None else f"{self.message}\nhint: {self.hint}"

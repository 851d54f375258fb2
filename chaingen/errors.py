"""Errors that carry what a person needs to mend the matter.

Everything raised on purpose is a `ChaingenError`. "Cannot exist" and "no fit found" are answers, not errors:
they are results of the solver. A broken promise inside the program is an `assert`.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with what was given.

    Attributes:
        where: The place in the user's own terms, such as ``rings.small.wire`` or a file name.
        got: What stands there, as text; empty when nothing does.
        expected: What would be accepted.
        advice: What to try next; empty when there is nothing to add.
    """

    where: str
    got: str
    expected: str
    advice: str = ""

    def __str__(self) -> str:
        """The problem as one sentence for a terminal."""
        got = f" got {self.got};" if self.got else ""
        advice = f" ({self.advice})" if self.advice else ""
        return f"{self.where}:{got} expected {self.expected}{advice}"


class ChaingenError(Exception):
    """Base of all errors that are raised on purpose."""


class BadInput(ChaingenError):
    """What was given cannot be used; carries every problem found, not just the first."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        assert self.problems, "a BadInput names at least one problem"
        super().__init__("\n".join(str(problem) for problem in self.problems))


class CannotDraw(ChaingenError):
    """Pictures cannot be drawn on this machine; the message says what to install."""


class CannotWrite(ChaingenError):
    """A file could not be written; the message says which and why."""

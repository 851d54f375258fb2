"""Full looks that were made lately, for whoever asks for the same again.

A look follows from the text of its design and the files beside it, whose ever these are.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

MOST_LOOKS, MOST_BYTES = 6, 100_000_000
"""So many are kept, of so many bytes together."""


@dataclass(frozen=True, slots=True)
class Made:
    """A look that was made.

    Attributes:
        line: The answer.
        kept: What it left for the next quick looks.
    """

    line: bytes
    kept: bytes


class Looks:
    """The looks that are kept."""

    def __init__(self) -> None:
        self._made: dict[Any, Made] = {}

    def find(self, text: str, beside: Mapping[str, str]) -> Made | None:
        """The look of a text with these files beside it, by their digests."""
        return self._made.get(_key(text, beside))

    def keep(self, text: str, beside: Mapping[str, str], made: Made) -> None:
        """Keep a look; the oldest go where there are too many."""
        self._made.pop(_key(text, beside), None)
        self._made[_key(text, beside)] = made
        while len(self._made) > MOST_LOOKS or (len(self._made) > 1 and self._bytes() > MOST_BYTES):
            self._made.pop(next(iter(self._made)))

    def _bytes(self) -> int:
        return sum(len(made.line) + len(made.kept) for made in self._made.values())


def _key(text: str, beside: Mapping[str, str]) -> Any:
    return text, tuple(sorted(beside.items()))

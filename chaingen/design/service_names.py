"""Names of processes as people write them: which one may have been meant."""

import re
from difflib import SequenceMatcher

from chaingen.stock.processes import PROCESSES

_LITTLE = frozenset({"a", "an", "by", "for", "in", "of", "the", "with"})
"""Words that say nothing of a process."""

_LEAST_LETTERS = 3
"""So many letters in common at the beginning make two words alike."""

_ALIKE = 0.75
"""From this ratio on two words are spelt alike (`difflib`); "filement" and "filament" have 0.88."""


def process_choice() -> str:
    """The processes to choose from, for a message."""
    *others, last = map(repr, PROCESSES)
    return f"{', '.join(others)} or {last}"


def processes_meant(name: str) -> list[str]:
    """The processes that share most words with a name, in part or nearly; none where none does.

    Example:
        >>> processes_meant("lost wax")
        ['wax pattern for casting']
    """
    words = [word for word in re.split(r"[\W_]+", name[:80].lower()) if word and word not in _LITTLE]
    shares = {process: _shared(words, process.split()) for process in PROCESSES}
    most = max(shares.values())
    return [process for process, share in shares.items() if share == most and most > 0.0]


def process_advice(name: object) -> str:
    """Advice naming the processes that may have been meant; empty where none is near."""
    meant = processes_meant(name) if isinstance(name, str) else []
    return f"did you mean {' or '.join(meant)}?" if meant else ""


def _shared(words: list[str], own: list[str]) -> float:
    """How many words of a name are among those of a process; one that is alike counts nearly as much."""
    own = [word for word in own if word not in _LITTLE]
    return sum(max(_likeness(word, other) for other in own) for word in words)


def _likeness(word: str, other: str) -> float:
    begins = min(len(word), len(other)) >= _LEAST_LETTERS and (
        word.startswith(other) or other.startswith(word)
    )
    if word == other or begins:
        return 1.0
    ratio = SequenceMatcher(None, word, other).ratio()
    return ratio if ratio >= _ALIKE else 0.0

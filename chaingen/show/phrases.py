"""Turns of phrase that what is told in words has in common: numbers with their noun, weights, signs."""


def counted(count: int, noun: str, plural: str = "") -> str:
    """A number with its noun: ``1 wire``, ``1,200 wires``."""
    return f"{count:,} {noun if count == 1 else plural or f'{noun}s'}"


def times(count: int) -> str:
    """How often something is made: ``once``, ``8 times``."""
    return "once" if count == 1 else f"{count:,} times"


def grams(weight: float) -> str:
    """A weight [g] to three figures or a hundredth of a gram, whichever says more."""
    return f"{weight:,.2f} g" if weight >= 1.0 else f"{weight:.3g} g"


def hundredths(number: float) -> str:
    """A number to two decimals; what rounds to nothing has no sign."""
    return f"{number:z.2f}"


def after_colon(sentence: str) -> str:
    """A sentence as it stands after a colon: its first word small, unless that is a letter's shape."""
    return sentence if sentence[1:2] == "-" else sentence[:1].lower() + sentence[1:]

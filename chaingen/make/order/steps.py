"""The steps of making a piece: each closes one opened ring, or one opened eye of a finding."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Opened:
    """Which rings to open and which to leave or make closed.

    Attributes:
        opened: Indices of bodies that are opened: rings; of findings whose eyes are, see `eyes`.
        closed: Indices of bodies that come closed.
        eyes: Pairs of body and eye that are opened at a finding, with pliers.
        worn_open: Pairs of body and eye that let wires in as they are worn: hooks, gates, bars.
        count: How many are opened in all: rings and eyes.
        at_least: No fewer will do.
        proven: Whether `count` is the least, so that `at_least` equals it.
    """

    opened: tuple[int, ...]
    closed: tuple[int, ...]
    eyes: tuple[tuple[int, int], ...]
    worn_open: tuple[tuple[int, int], ...]
    count: int
    at_least: int
    proven: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step: an opened ring (or eye) goes through others and is closed.

    Attributes:
        body: The body that is closed, or whose eye is; or that is hung in by a hook or gate.
        eye: Which eye of it: 0 for rings.
        added: Bodies taken up new at this step, closed ones, that it goes through; in order.
        through: Bodies of the piece made so far that it goes through; in order.
        new: Whether `body` itself is new with this step; a finding may be there already with another eye.
        links: Places in the graph's `links` that arise here.
        laid: Bodies that are linked with none, laid in before anything is closed here: rings held captive.
        round_it: Those of them that lie round what is closed.
        joins_ends: Whether the two ends of a closed piece come together here.
        begins_anew: Whether a part of the piece begins here that hangs on nothing made before.
    """

    body: int
    eye: int
    added: tuple[int, ...]
    through: tuple[int, ...]
    new: bool
    links: tuple[int, ...]
    laid: tuple[int, ...] = ()
    round_it: tuple[int, ...] = ()
    joins_ends: bool = False
    begins_anew: bool = False


@dataclass(frozen=True, slots=True)
class Instruction:
    """A line of the instructions: a step, or several lines made again.

    Attributes:
        number: Number of the line, from 1; of a repeat that of the line itself.
        step: Place among the order's steps of the step as it is first made; None for a repeat.
        picture: Which picture shows it: place among `Order.distinct`; None for a repeat.
        first: For a repeat: number of the first line that is made again.
        last: ... and of the last.
        times: ... and how often those are made again, besides the first time.
    """

    number: int
    step: int | None
    picture: int | None = None
    first: int = 0
    last: int = 0
    times: int = 0


@dataclass(frozen=True, slots=True)
class Order:
    """The order of work.

    Attributes:
        opened: Which rings to open.
        steps: Every step, from one end to the other.
        instructions: The steps with repeats folded.
        distinct: Places among `steps` of the steps that differ from all before them, in what a maker does.
        loose: Bodies that are linked with nothing and need no step of their own; see `Step.laid`.
    """

    opened: Opened
    steps: tuple[Step, ...]
    instructions: tuple[Instruction, ...]
    distinct: tuple[int, ...]
    loose: tuple[int, ...] = ()

"""Sequential linear programming on ring poses.

The *signed gap* of a pair is the gap measured with +distance if the pair is linked as the graph asks and
with -distance if not. It is continuous when one wire passes through another, so that raising the smallest
signed gap finds the weave from a mess as well as it opens a sound placement up. Every step linearises the
near contacts in the five unknowns of each ring (three of its centre, two tilts), the six of any other body,
and the free period of a repeating cell, inside a trust region, and solves the linear program with HiGHS.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chaingen.geometry.types import Floats, Ints
from chaingen.solve.contacts import REACH, Contacts, Rows, State, jacobian, picked_rows, stepped
from chaingen.solve.program import best_step

GAIN = 1e-6
"""A step that promises to raise the objective by less than this [mm] ends the search."""

Creep = tuple[int, float]
"""So many steps that together raise the objective by less than so much [mm] end the search."""

CREEP: Creep = (12, 5e-5)
"""See `Creep`."""

WIDE_TRUST, TAUT_TRUST = 0.25, 0.1
"""Trust of the first step as part of the smallest eye's radius: of a start from anywhere, and of one that is
placed and pulled."""

SMALLEST_TRUST = 1e-7
"""A trust region smaller than this [mm] ends the search."""


@dataclass(frozen=True, eq=False)
class Found:
    """Where the search ended.

    Attributes:
        state: The best state met.
        value: The objective there.
        gap: The smallest signed gap there [mm] (the thickening factor when searched by scale).
        converged: Whether no further step promised more.
        iterations: Steps tried.
        holding: The contacts that hold the optimum, with their multipliers (evidence), as index pairs with
            image, shape (k, 3), strongest first.
        forces: Their multipliers, shape (k,), summing to 1.
    """

    state: State
    value: float
    gap: float
    converged: bool
    iterations: int
    holding: Ints
    forces: Floats


Aim = Callable[[State], tuple[float, Floats]]
"""A length to raise: its value at a state [mm] and its derivative by the columns of `jacobian` with all rings
free."""

OVERLAP_COST = 50.0
"""What `stretch` pays for each mm of overlap: more than any length that an overlap can win."""


@dataclass(frozen=True, eq=False)
class _Goal:
    """What is raised: aim(state) + worth * min(ceiling, smallest signed gap or thickening factor)."""

    free: npt.NDArray[np.bool_]
    by_scale: bool = False
    aim: Aim | None = None
    worth: float = 1.0
    ceiling: float = np.inf


@dataclass(frozen=True, eq=False)
class _Point:
    """A state with its contacts measured against a goal."""

    state: State
    rows: Rows
    value: Floats
    weight: Floats
    least: float
    length: float
    slope: Floats | None
    merit: float


def _measured(contacts: Contacts, state: State, goal: _Goal, reach: float) -> _Point:
    rows = contacts.rows(state, reach)
    both = rows.both
    value = rows.sign * rows.distance / both if goal.by_scale else rows.sign * rows.distance - both
    weight = both if goal.by_scale else np.ones_like(both)
    least = float(value[rows.is_minimum].min(initial=np.inf))
    length, slope = (0.0, None) if goal.aim is None else goal.aim(state)
    return _Point(
        state, rows, value, weight, least, length, slope, length + goal.worth * min(goal.ceiling, least)
    )


def _step(point: _Point, goal: _Goal, trust: float) -> tuple[State, float, Rows, Floats] | None:
    """One linear program: the new state, the merit it promises, and the rows used with their multipliers."""
    floor = min(point.least, goal.ceiling)
    use = (point.value - floor) * point.weight < 8.0 * trust
    picked = picked_rows(point.rows, use)
    slopes = jacobian(picked, point.state, goal.free).multiply(picked.sign[:, None])
    answer = best_step(
        slopes,
        point.weight[use],
        (point.weight * point.value)[use],
        trust,
        aim=point.slope,
        worth=goal.worth,
        ceiling=goal.ceiling,
    )
    if answer is None:
        return None
    step, least, multipliers = answer
    length = point.length + (0.0 if point.slope is None else float(point.slope @ step))
    return stepped(point.state, goal.free, step), length + goal.worth * least, picked, multipliers


def _climb(
    contacts: Contacts,
    state: State,
    goal: _Goal,
    trust: float,
    most_steps: int,
    enough: float,
    creep: Creep = CREEP,
) -> Found:
    """Raise the goal by linear programs in a trust region.

    A step along curved contacts ends a little inside the metal: before it is refused, a second program from
    where it ended may correct it.
    """
    small = float(state.rings.eye_radii.min())
    reach = REACH * small
    here = _measured(contacts, state, goal, reach)
    holding, forces = np.empty((0, 3), dtype=np.int64), np.empty(0)
    history: list[float] = []

    def found(converged: bool, iterations: int) -> Found:
        value = here.least if goal.aim is None else here.length
        return Found(here.state, value, here.least, converged, iterations, holding, forces)

    for iteration in range(most_steps):
        if here.merit >= enough or not len(here.value):
            return found(True, iteration)
        answer = _step(here, goal, trust)
        if answer is None:
            trust *= 0.5
            continue
        trial_state, promised, picked, multipliers = answer
        holding, forces = _holding(picked, multipliers)
        gain = promised - here.merit
        if gain < GAIN or trust < SMALLEST_TRUST:
            return found(True, iteration)
        trial = _measured(contacts, trial_state, goal, reach)
        if trial.merit - here.merit < 0.2 * gain:
            correction = _step(trial, goal, 0.5 * trust)
            if correction is not None:
                corrected = _measured(contacts, correction[0], goal, reach)
                if corrected.merit > trial.merit:
                    trial = corrected
        won = (trial.merit - here.merit) / gain
        if won > 0.0:
            here = trial
        trust = min(
            trust * (2.0 if won > 0.7 else 1.0 if won > 0.2 else 0.5 if won > 0.0 else 0.35), 0.5 * small
        )
        history.append(here.merit)
        if len(history) > creep[0] and here.merit - history[-1 - creep[0]] < creep[1]:
            # Creeping along a curved ridge: many steps together won next to nothing.
            return found(True, iteration)
    return found(False, most_steps)


def widen(
    contacts: Contacts,
    state: State,
    *,
    free: npt.NDArray[np.bool_] | None = None,
    by_scale: bool = False,
    most_steps: int = 150,
    enough: float = np.inf,
    creep: Creep = CREEP,
    trust: float = WIDE_TRUST,
) -> Found:
    """Raise the smallest signed gap as far as it goes.

    Args:
        contacts: The contacts of the graph.
        state: Where to start.
        free: Which rings may move, shape (n,); all by default.
        by_scale: Raise the smallest ratio of signed distance to the sum of wire radii instead: the factor by
            which all wires can be thickened on the same centrelines.
        most_steps: Steps after which the search gives up.
        enough: Stop once the objective is above this.
        creep: See `Creep`.
        trust: Farthest that anything moves in the first step, as part of the smallest eye's radius.

    Returns:
        The best state; its value is the smallest signed gap [mm], or the thickening factor.
    """
    if free is None:
        free = np.ones(len(state.rings), dtype=bool)
    first = trust * float(state.rings.eye_radii.min())
    return _climb(contacts, state, _Goal(free, by_scale=by_scale), first, most_steps, enough, creep)


def stretch(
    contacts: Contacts,
    state: State,
    aim: Aim,
    *,
    most_steps: int = 150,
    trust: float = TAUT_TRUST,
) -> Found:
    """Raise a length as far as it goes while no wires overlap and all pairs stay linked as asked.

    Args:
        contacts: The contacts of the graph.
        state: Where to start, best without overlaps.
        aim: The length to raise.
        most_steps: Steps after which the search gives up.
        trust: See `widen`.

    Returns:
        The longest state; its value is the length [mm].
    """
    goal = _Goal(np.ones(len(state.rings), dtype=bool), aim=aim, worth=OVERLAP_COST, ceiling=0.0)
    first = trust * float(state.rings.eye_radii.min())
    return _climb(contacts, state, goal, first, most_steps, np.inf)


def _holding(rows: Rows, multipliers: Floats) -> tuple[Ints, Floats]:
    """Pairs whose multipliers are not zero, strongest first."""
    on = multipliers > 1e-9
    pairs = np.column_stack([rows.first, rows.second, rows.image])[on]
    if not len(pairs):
        return np.empty((0, 3), dtype=np.int64), np.empty(0)
    unique, inverse = np.unique(pairs, axis=0, return_inverse=True)
    forces = np.bincount(inverse.ravel(), weights=multipliers[on], minlength=len(unique))
    order = np.argsort(-forces, kind="stable")
    return unique[order], forces[order] / forces.sum()

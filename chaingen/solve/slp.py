"""Sequential linear programming on ring poses.

The *signed gap* of a pair is the gap measured with +distance if the pair is linked as the graph asks and with -distance if not. It
is continuous when one wire passes through another, so that raising the smallest signed gap finds the weave from a mess as well as
it opens a sound placement up. Every step linearises the near contacts in the five unknowns of each ring (three of its centre, two
tilts) and the free period of a repeating cell, inside a trust region, and solves the linear program with HiGHS.

A pair that is linked as asked must be clear everywhere, not only at its closest points: besides all local minima, even samples of
both circles enter the program, so that flat contacts (rings lying side by side) do not zigzag.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import cos, pi, sin, sqrt

import numba
import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, csc_matrix, hstack

from chaingen.geometry.distance import MOST_MINIMA, circle_minima, nearest_on_circle, point_at
from chaingen.geometry.linking import disc_crossings
from chaingen.geometry.near import near_pairs
from chaingen.geometry.rings import Floats, Ints, Rings
from chaingen.solve.motion import Motion, MotionKind
from chaingen.weave.graph import LinkGraph

CONTACT_SAMPLES = 8
"""Even samples of each circle of a pair that enter the linear program besides the local minima."""

GAIN = 1e-6
"""A step that promises to raise the objective by less than this [mm] ends the search."""

CREEP_STEPS, CREEP_GAIN = 12, 5e-5
"""The search also ends when this many steps together raised the objective by less than this [mm]."""

IDLE = 1e-4
"""Cost of moving a ring by 1 mm in the linear program, far below any gain: rings that nothing asks to move stay where they are,
while a bare vertex of the program would throw them to the border of the trust region."""

SMALLEST_TRUST = 1e-7
"""A trust region smaller than this [mm] ends the search."""


@dataclass(frozen=True, eq=False)
class State:
    """Poses on their way: the rings of a piece or cell and the motion to the next cell."""

    rings: Rings
    motion: Motion


@dataclass(frozen=True, eq=False)
class Rows:
    """Linearised contacts, one row each.

    Attributes:
        first: Index of the first ring, shape (m,).
        second: Index of the second ring, shape (m,).
        image: Image of the cell in which the second ring lies, shape (m,).
        sign: +1 where the pair is linked as asked, -1 where not, shape (m,).
        distance: Distance of the centrelines there [mm], shape (m,).
        direction: Unit vector from the second to the first nearest point, shape (m, 3).
        arms: From either ring's centre to its nearest point [mm], shape (m, 2, 3).
        is_minimum: Whether the row is a local minimum (the others are samples), shape (m,).
    """

    first: Ints
    second: Ints
    image: Ints
    sign: Floats
    distance: Floats
    direction: Floats
    arms: Floats
    is_minimum: npt.NDArray[np.bool_]


@numba.njit(cache=True)
def _row(
    px: float, py: float, pz: float, qx: float, qy: float, qz: float,
    ca: Floats, cb: Floats, distance: Floats, direction: Floats, arms: Floats, m: int,
) -> None:  # fmt: skip
    """Write the geometry of one contact into row m."""
    dx = px - qx
    dy = py - qy
    dz = pz - qz
    d = sqrt(dx * dx + dy * dy + dz * dz)
    distance[m] = d
    if d < 1e-12:
        # Centrelines that meet have no direction of their own; apart is then away from the other's centre.
        dx = ca[0] - cb[0]
        dy = ca[1] - cb[1]
        dz = ca[2] - cb[2]
        d = sqrt(dx * dx + dy * dy + dz * dz)
        if d < 1e-12:
            dx, dy, dz, d = 0.0, 0.0, 1.0, 1.0
    direction[m, 0] = dx / d
    direction[m, 1] = dy / d
    direction[m, 2] = dz / d
    arms[m, 0, 0] = px - ca[0]
    arms[m, 0, 1] = py - ca[1]
    arms[m, 0, 2] = pz - ca[2]
    arms[m, 1, 0] = qx - cb[0]
    arms[m, 1, 1] = qy - cb[1]
    arms[m, 1, 2] = qz - cb[2]


@numba.njit(cache=True)
def _collect(
    centres: Floats, normals: Floats, radii: Floats, wires: Floats,
    pairs: Ints, wanted: npt.NDArray[np.bool_], rotations: Floats, translations: Floats, reach: float,
    index: Ints, sign: Floats, distance: Floats, direction: Floats, arms: Floats,
    minimum: npt.NDArray[np.bool_],
) -> int:  # fmt: skip
    """Fill the rows for all pairs; returns how many there are, or -1 when there is no room."""
    room = len(sign)
    m = 0
    angles = np.empty(MOST_MINIMA)
    cb = np.empty(3)
    nb = np.empty(3)
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        image = pairs[k, 2]
        for a in range(3):
            cb[a] = translations[image, a]
            nb[a] = 0.0
            for b in range(3):
                cb[a] += rotations[image, a, b] * centres[j, b]
                nb[a] += rotations[image, a, b] * normals[j, b]
        ca = centres[i]
        na = normals[i]
        if m + 2 * CONTACT_SAMPLES + MOST_MINIMA > room:
            return -1
        both = wires[i] + wires[j]
        crossed, _ = disc_crossings(ca, na, radii[i], cb, nb, radii[j])
        right = (crossed == 1) == wanted[k]
        count, _ = circle_minima(ca, na, radii[i], cb, nb, radii[j], angles)
        best = -1
        for c in range(count):
            px, py, pz = point_at(ca, na, radii[i], angles[c])
            qx, qy, qz = nearest_on_circle(px, py, pz, cb, nb, radii[j])
            _row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, m)
            if right:
                if distance[m] - both < reach:
                    index[m, 0] = i
                    index[m, 1] = j
                    index[m, 2] = image
                    sign[m] = 1.0
                    minimum[m] = True
                    m += 1
            elif best < 0:
                index[m, 0] = i
                index[m, 1] = j
                index[m, 2] = image
                sign[m] = -1.0
                minimum[m] = True
                best = m
                m += 1
            elif distance[m] < distance[best]:
                _row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, best)
        if not right:
            continue
        for c in range(2 * CONTACT_SAMPLES):
            t = 2.0 * pi * (c % CONTACT_SAMPLES) / CONTACT_SAMPLES
            if c < CONTACT_SAMPLES:
                px, py, pz = point_at(ca, na, radii[i], t)
                qx, qy, qz = nearest_on_circle(px, py, pz, cb, nb, radii[j])
            else:
                qx, qy, qz = point_at(cb, nb, radii[j], t)
                px, py, pz = nearest_on_circle(qx, qy, qz, ca, na, radii[i])
            _row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, m)
            if distance[m] - both < reach:
                index[m, 0] = i
                index[m, 1] = j
                index[m, 2] = image
                sign[m] = 1.0
                minimum[m] = False
                m += 1
    return m


class Contacts:
    """Finds the linearised contacts of a graph at any state."""

    def __init__(self, graph: LinkGraph) -> None:
        n = len(graph)
        self._size = n
        self._links = np.column_stack([graph.links, graph.offsets])
        keys = self._key(self._links)
        # A link of a ring with its own next image, or of a loop's far side, can be met from either end.
        self._keys = np.unique(keys)
        self._room = 4096

    def _key(self, pairs: Ints) -> Ints:
        return np.asarray((pairs[:, 2] * self._size + pairs[:, 0]) * self._size + pairs[:, 1])

    def pairs(self, state: State) -> tuple[Ints, npt.NDArray[np.bool_]]:
        """Pairs that could meet, and all links: index, index, image, shape (m, 3), and whether each should link."""
        rings, motion = state.rings, state.motion
        margin = float(rings.wire_radii.max() * 2.0)
        if motion.kind is MotionKind.NONE:
            near = near_pairs(rings, margin=margin)
            pairs = np.column_stack([near, np.zeros(len(near), dtype=np.int64)])
        else:
            reach = rings.radii + rings.wire_radii
            most = float(2.0 * reach.max() + margin)
            span = float(np.ptp(rings.centres[:, 0]))
            images = motion.image_count(most, span)
            rotations, translations = motion.transforms(images)
            moved = np.einsum("kab,nb->kna", rotations, rings.centres) + translations[:, None, :]
            apart = np.linalg.norm(rings.centres[None, :, None, :] - moved[:, None, :, :], axis=3)
            close = apart < reach[None, :, None] + reach[None, None, :] + margin
            close[0] &= np.triu(np.ones((len(rings), len(rings)), dtype=bool), 1)
            k, i, j = np.nonzero(close)
            pairs = np.column_stack([i, j, k])
        missing = self._links[~np.isin(self._keys_of_links(), self._key(pairs))]
        pairs = np.ascontiguousarray(np.concatenate([pairs, missing]))
        return pairs, np.isin(self._key(pairs), self._keys)

    def _keys_of_links(self) -> Ints:
        return self._key(self._links)

    def rows(self, state: State, reach: float) -> Rows:
        """Linearised contacts: every wrongly linked pair, and every place of the others nearer than `reach` [mm]."""
        pairs, wanted = self.pairs(state)
        rings = state.rings
        images = int(pairs[:, 2].max(initial=0))
        rotations, translations = state.motion.transforms(images)
        while True:
            room = self._room
            index = np.empty((room, 3), dtype=np.int64)
            sign = np.empty(room)
            distance = np.empty(room)
            direction = np.empty((room, 3))
            arms = np.empty((room, 2, 3))
            minimum = np.empty(room, dtype=np.bool_)
            m = _collect(
                rings.centres, rings.normals, rings.radii, rings.wire_radii, pairs, wanted, rotations, translations,
                reach, index, sign, distance, direction, arms, minimum,
            )  # fmt: skip
            if m >= 0:
                break
            self._room *= 2
        return Rows(
            index[:m, 0], index[:m, 1], index[:m, 2], sign[:m], distance[:m], direction[:m], arms[:m], minimum[:m]
        )


def tilt_axes(normals: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each normal, shape (n, 3) each: the axes of a ring's two tilts."""
    x, y, z = normals.T
    sign = np.where(z >= 0.0, 1.0, -1.0)
    a = -1.0 / (sign + z)
    b = x * y * a
    return (
        np.column_stack([1.0 + sign * x * x * a, sign * b, -sign * x]),
        np.column_stack([b, sign + y * y * a, -y]),
    )


def jacobian(rows: Rows, state: State, free: npt.NDArray[np.bool_]) -> csc_matrix:
    """Derivatives of the contact distances, shape (m, 5 * free rings + 1).

    Columns: three moves of each free ring's centre [mm], its two tilts times its radius [mm], last the period [mm].
    """
    rings, motion = state.rings, state.motion
    column = np.full(len(rings), -1)
    column[free] = 5 * np.arange(int(free.sum()))
    one, two = tilt_axes(rings.normals)
    rotations, _ = motion.transforms(int(rows.image.max(initial=0)))
    m = len(rows.first)
    row_parts, column_parts, value_parts = [], [], []
    for ring, arm, side in ((rows.first, rows.arms[:, 0], 1.0), (rows.second, rows.arms[:, 1], -1.0)):
        direction = rows.direction
        if side < 0:
            # The image turns with its cell: look at it from the cell's own frame.
            back = rotations[rows.image]
            direction = np.einsum("mba,mb->ma", back, direction)
            arm = np.einsum("mba,mb->ma", back, arm)
        torque = np.cross(arm, direction) / rings.radii[ring][:, None]
        values = side * np.column_stack(
            [direction, np.einsum("ma,ma->m", torque, one[ring]), np.einsum("ma,ma->m", torque, two[ring])]
        )
        keep = column[ring] >= 0
        row_parts.append(np.repeat(np.flatnonzero(keep), 5))
        column_parts.append((column[ring][keep][:, None] + np.arange(5)).ravel())
        value_parts.append(values[keep].ravel())
    if motion.kind is MotionKind.SHIFT:
        row_parts.append(np.arange(m))
        column_parts.append(np.full(m, 5 * int(free.sum())))
        value_parts.append(-rows.direction[:, 0] * rows.image)
    return coo_matrix(
        (np.concatenate(value_parts), (np.concatenate(row_parts), np.concatenate(column_parts))),
        shape=(m, 5 * int(free.sum()) + 1),
    ).tocsc()


def stepped(state: State, free: npt.NDArray[np.bool_], step: Floats) -> State:
    """The state after a step; see `jacobian` for its entries."""
    rings = state.rings
    one, two = tilt_axes(rings.normals)
    moves = np.zeros((len(rings), 5))
    moves[free] = step[:-1].reshape(-1, 5)
    turns = (moves[:, 3:4] * one + moves[:, 4:5] * two) / rings.radii[:, None]
    normals = rings.normals + np.cross(turns, rings.normals)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    motion = state.motion
    if motion.kind is MotionKind.SHIFT:
        motion = replace(motion, period=motion.period + float(step[-1]))
    return State(Rings(rings.centres + moves[:, :3], normals, rings.radii, rings.wire_radii), motion)


@dataclass(frozen=True, eq=False)
class Found:
    """Where the search ended.

    Attributes:
        state: The best state met.
        value: The objective there.
        gap: The smallest signed gap there [mm] (the thickening factor when searched by scale).
        converged: Whether no further step promised more.
        iterations: Steps tried.
        holding: The contacts that hold the optimum, with their multipliers (evidence), as index pairs with image,
            shape (k, 3), strongest first.
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
"""A length to raise: its value at a state [mm] and its derivative by the columns of `jacobian` with all rings free."""

OVERLAP_COST = 50.0
"""What `stretch` pays for each mm of overlap: more than any length that an overlap can win."""


@dataclass(frozen=True, eq=False)
class _Goal:
    """What is raised: aim(state) + worth * min(ceiling, smallest value), a value being signed distance less `less`, by `weight`."""

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
    wires = state.rings.wire_radii
    both = wires[rows.first] + wires[rows.second]
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
    picked = _picked(point.rows, use)
    slopes = jacobian(picked, point.state, goal.free).multiply(picked.sign[:, None]).tocsc()
    answer = _program(
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


def _climb(contacts: Contacts, state: State, goal: _Goal, trust: float, most_steps: int, enough: float) -> Found:
    """Raise the goal by linear programs in a trust region.

    A step along curved contacts ends a little inside the metal: before it is refused, a second program from where it ended may
    correct it.
    """
    small = float(state.rings.radii.min())
    reach = 2.5 * small
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
        trust = min(trust * (2.0 if won > 0.7 else 1.0 if won > 0.2 else 0.5 if won > 0.0 else 0.35), 0.5 * small)
        history.append(here.merit)
        if len(history) > CREEP_STEPS and here.merit - history[-1 - CREEP_STEPS] < CREEP_GAIN:
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
) -> Found:
    """Raise the smallest signed gap as far as it goes.

    Args:
        contacts: The contacts of the graph.
        state: Where to start.
        free: Which rings may move, shape (n,); all by default.
        by_scale: Raise the smallest ratio of signed distance to the sum of wire radii instead: the factor by which all wires
            can be thickened on the same centrelines.
        most_steps: Steps after which the search gives up.
        enough: Stop once the objective is above this.

    Returns:
        The best state; its value is the smallest signed gap [mm], or the thickening factor.
    """
    if free is None:
        free = np.ones(len(state.rings), dtype=bool)
    trust = 0.25 * float(state.rings.radii.min())
    return _climb(contacts, state, _Goal(free, by_scale=by_scale), trust, most_steps, enough)


def stretch(contacts: Contacts, state: State, aim: Aim, *, most_steps: int = 150) -> Found:
    """Raise a length as far as it goes while no wires overlap and all pairs stay linked as asked.

    Args:
        contacts: The contacts of the graph.
        state: Where to start, best without overlaps.
        aim: The length to raise.
        most_steps: Steps after which the search gives up.

    Returns:
        The longest state; its value is the length [mm].
    """
    goal = _Goal(np.ones(len(state.rings), dtype=bool), aim=aim, worth=OVERLAP_COST, ceiling=0.0)
    return _climb(contacts, state, goal, 0.1 * float(state.rings.radii.min()), most_steps, np.inf)


def _picked(rows: Rows, use: npt.NDArray[np.bool_]) -> Rows:
    return Rows(
        rows.first[use], rows.second[use], rows.image[use], rows.sign[use], rows.distance[use],
        rows.direction[use], rows.arms[use], rows.is_minimum[use],
    )  # fmt: skip


def _program(
    slopes: csc_matrix,
    weight: Floats,
    value: Floats,
    trust: float,
    *,
    aim: Floats | None = None,
    worth: float = 1.0,
    ceiling: float = np.inf,
) -> tuple[Floats, float, Floats] | None:
    """Maximise aim x + worth t with value + slopes x >= weight t, every |x| <= trust and t <= ceiling.

    Returns:
        The step x, t, and the multipliers of the rows; None when HiGHS finds no answer.
    """
    m, n = slopes.shape
    column = coo_matrix(weight[:, None])
    matrix = hstack([-slopes, slopes, column], format="csc")
    pull = np.zeros(n) if aim is None else aim
    cost = np.concatenate([IDLE - pull, IDLE + pull, [-worth]])
    bounds = np.tile([0.0, trust], (2 * n + 1, 1))
    bounds[-1] = [-np.inf, ceiling]
    answer = linprog(cost, A_ub=matrix, b_ub=value, bounds=bounds, method="highs-ds", options={"presolve": False})
    if answer.status != 0:
        return None
    return answer.x[:n] - answer.x[n:-1], float(answer.x[-1]), -answer.ineqlin.marginals


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


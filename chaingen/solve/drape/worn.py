"""Where worn pieces start: round a wrist or a neck, free of contact. Gravity pulls along -z."""

from dataclasses import replace

import numpy as np

from chaingen.design.scene import EASE, NECK, Scene
from chaingen.geometry.solids import Solid, distances, form, oval
from chaingen.geometry.types import Floats
from chaingen.solve.drape.curves import by_arc_length, laid, round_oval
from chaingen.solve.drape.rows import Row
from chaingen.solve.drape.starts import FRONT, OFF, CannotDrape, Start, TooShort, rolled

FOREARM_RATIO = 1.35
"""Width of a forearm at the wrist over its thickness (memory; adults' are 1.2 to 1.5)."""

LEAST_WRIST = 60.0
"""No wrist is smaller [mm]: a newborn's is more (memory)."""

FLAT_TURNS = 8
"""Parts of half a turn in which the flattest way to lie is sought."""

STARTS_CLEAR = 1.05
"""Bracelets with findings start this many times as far from the arm as their groups reach."""

LIFTED_WITH = 0.3
"""A group that starts farther out takes its neighbours with it: by so much less for each mm along the row."""


def _flattest(row: Row) -> Row:
    """A row with findings turned about its length so that it lies as flat as it can on what it goes round."""
    if row.rings.all_rings:
        return row
    turns = [rolled(row, np.pi * k / FLAT_TURNS) for k in range(2 * FLAT_TURNS)]
    return min(turns, key=lambda turned: round(_thickness(turned), 6))


def _thickness(row: Row) -> float:
    """How far the row reaches from its axis towards the inside of a loop [mm]: its -y side."""
    return -float(row.rings.bounds()[0][1])


def _worn(weights: Floats) -> Floats:
    """The tension that a worn piece may come to: a quarter of its weight."""
    return np.full(len(weights), 0.25 * float(weights.sum()))


def _wrist_for(row: Row, taut: float, thick: float) -> float:
    """Circumference of a wrist that suits a bracelet [mm].

    Args:
        row: The bracelet as it starts, lying flat.
        taut: Its length pulled taut, round [mm].
        thick: How far it reaches inwards from its middle at most [mm].
    """
    if row.rings.all_rings:
        return taut - 2.0 * np.pi * thick - EASE
    # One link that stands out does not make a bracelet narrower.
    inwards = float(_inwards(row).mean())
    return min(taut - EASE, row.length) - 2.0 * np.pi * STARTS_CLEAR * inwards


def wrist(row: Row, scene: Scene, weights: Floats, taut: float, finished: float) -> Start:
    """Round a level forearm, an oval bar along y; see `neck` for what is given."""
    row = _flattest(row)
    thick = _thickness(row)
    circumference = scene.circumference or _wrist_for(row, taut, thick)
    if circumference < LEAST_WRIST:
        raise CannotDrape(f"{taut:.1f} mm round is too short for any wrist")
    off = (row.length - circumference) / (2.0 * np.pi)
    inwards = _inwards(row)
    least = thick if row.rings.all_rings else float(inwards.mean())
    if off - least <= 0.0:
        need = circumference + 2.0 * np.pi * least
        raise TooShort(
            f"it is too short: {need:.1f} mm along its middle go round {circumference:.1f} mm, "
            f"and it has {row.length:.1f} mm; {_would_do(row, need, taut, finished)}"
        )
    arm = oval(circumference, FOREARM_RATIO)
    half_width, half_height = arm.numbers[3:5]
    curve = round_oval(float(half_width), float(half_height), off)
    # The first group lies at the bottom, where a clasp would.
    half = np.argmin(curve[:, 2])
    curve = np.concatenate([curve[half:-1], curve[: half + 1]])
    track = by_arc_length(curve, row.group_x - row.group_x.min(), normal=FRONT)
    out = _lifted(row, inwards * STARTS_CLEAR - off)
    outward = np.cross(track.along, FRONT)
    rings = laid(row.rings, row.group_x, replace(track, points=track.points + out[:, None] * outward))
    return Start(rings, (arm,), (), _worn(weights), circumference)


def _would_do(row: Row, need: float, taut: float, finished: float) -> str:
    """The finished length of a piece that is long enough."""
    return f"a length of about {finished + (need - row.length) * taut / row.length:.0f} mm would do"


def _inwards(row: Row) -> Floats:
    """How far each group reaches towards what the row goes round [mm], shape (groups,)."""
    inwards = np.full(int(row.group.max()) + 1, -np.inf)
    np.maximum.at(inwards, row.group, -row.rings.extents()[0][:, 1])
    return inwards


def _lifted(row: Row, short: Floats) -> Floats:
    """How much farther out each body starts [mm], shape (n,), so that groups short of room are clear.

    Their neighbours go out with them, by less the farther away they are, round the whole row.

    Args:
        row: The row.
        short: By how much each group is short of room [mm], shape (groups,); under 0 where it is not.
    """
    at = np.zeros(len(short))
    at[row.group] = row.group_x
    away = np.abs(at[:, None] - at[None, :])
    away = np.minimum(away, row.length - away)
    lift = np.maximum((np.maximum(short, 0.0)[None, :] - LIFTED_WITH * away).max(axis=1), 0.0)
    return np.asarray(lift[row.group])


def neck_form(circumference: float) -> Solid:
    """A neck with shoulders and chest for a given circumference of the neck [mm], looking towards -y."""
    s = circumference / (2.0 * np.pi)
    bars = np.array(
        [
            [0.0, 0.10, -1.6, 0.0, -0.30, 3.2, 1.0],
            [0.55, 0.15, -1.15, 2.75, 0.25, -2.15, 0.80],
            [-0.55, 0.15, -1.15, -2.75, 0.25, -2.15, 0.80],
            [1.15, -0.35, -2.7, 1.25, -0.75, -6.0, 1.45],
            [-1.15, -0.35, -2.7, -1.25, -0.75, -6.0, 1.45],
        ]
    )
    return form(s * bars, 0.28 * s)


def neck(row: Row, scene: Scene, weights: Floats, taut: float, finished: float) -> Start:
    """Round a neck, in the slanting plane where a round loop hangs lowest clear of neck and shoulders.

    Args:
        row: The closed piece, straight.
        scene: The scene.
        weights: Of its bodies [ring weights], shape (n,).
        taut: Its length round, pulled taut [mm].
        finished: Its finished length, which has what a clasp overlaps too [mm].
    """
    circumference = scene.circumference or NECK
    body = neck_form(circumference)
    radius = row.length / (2.0 * np.pi)
    row = _flattest(row)
    if row.rings.all_rings:
        thick = float(np.abs(row.rings.centres[:, 1:]).max() + (row.rings.radii + row.rings.wire_radii).max())
    else:
        # Seen along the row, nothing reaches farther from its axis to any side.
        low, high = (np.abs(corner[:, 1:]).max() for corner in row.rings.extents())
        thick = float(np.hypot(low, high))
    need = circumference + 2.0 * np.pi * thick
    if row.length <= need:
        raise TooShort(
            f"it is too short: {need:.1f} mm along its middle go round {circumference:.1f} mm, "
            f"and it has {row.length:.1f} mm; {_would_do(row, need, taut, finished)}"
        )
    angle = np.linspace(0.0, 2.0 * np.pi, 361)
    # The first group lies at the nape.
    ring = np.column_stack([np.sin(angle), np.cos(angle), np.zeros_like(angle)])
    off = thick + OFF * float(row.rings.thinnest.min())
    best: tuple[float, Floats] | None = None
    for tilt in np.linspace(0.0, 1.1, 23):
        slant = np.column_stack([ring[:, 0], ring[:, 1] * np.cos(tilt), ring[:, 1] * np.sin(tilt)])
        for forward in np.linspace(-1.0, 0.6, 33):
            flat = radius * slant + np.array([0.0, forward * radius, 0.0])
            low, high = -3.0 * radius, 6.0 * radius
            for _ in range(18):
                middle = 0.5 * (low + high)
                clear = distances(body, flat + np.array([0.0, 0.0, middle]))[:, 0].min() > off
                low, high = (low, middle) if clear else (middle, high)
            # It has to lie round the neck, not beside it.
            if best is None or high < best[0] - 1e-6:
                at = flat + np.array([0.0, 0.0, high])
                if _goes_round(at, body):
                    best = high, at
    if best is None:
        raise TooShort("it is too short to lie round this neck and on the shoulders")
    fine = np.linspace(0.0, len(angle) - 1.0, 4097)
    curve = np.stack([np.interp(fine, np.arange(len(angle)), best[1][:, axis]) for axis in range(3)], axis=1)
    curve[-1] = curve[0]
    across = np.cross(best[1][90] - best[1][0], best[1][180] - best[1][0])
    normal = across / np.linalg.norm(across)
    track = by_arc_length(curve, row.group_x - row.group_x.min(), normal=normal)
    rings = laid(row.rings, row.group_x, track)
    return Start(rings, (body,), (), _worn(weights), circumference)


def _goes_round(loop: Floats, body: Solid) -> bool:
    """Whether a loop in a plane goes round the neck's bar."""
    foot, head = body.numbers[1:4], body.numbers[4:7]
    across = np.cross(loop[90] - loop[0], loop[180] - loop[0])
    along = head - foot
    part = ((loop[0] - foot) @ across) / (along @ across)
    return bool(
        np.linalg.norm(foot + part * along - loop.mean(axis=0))
        < 0.9 * np.linalg.norm(loop[0] - loop.mean(axis=0))
        and part > 0.0
    )

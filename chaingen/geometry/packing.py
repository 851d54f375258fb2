"""Wires through a hole: discs in a circle.

Where a wire passes through the hole of a ring, the plane of that ring cuts a disc of at least the wire's
radius out of it; the discs of different wires cannot overlap, and none can overlap the ring's own wire. So
the smallest circle that holds such discs must fit the hole. That is a proof where it fails, and no promise
where it holds.
"""

from functools import lru_cache
from math import pi, sqrt

import numpy as np
from scipy.optimize import minimize

from chaingen.geometry.types import Floats

EQUAL_DISCS = (
    1.0, 2.0, 2.1547, 2.4142, 2.7013, 3.0, 3.0, 3.3048, 3.6131, 3.8130,
    3.9238, 4.0296, 4.2361, 4.3284, 4.5214, 4.6154, 4.7920, 4.8637, 4.8637, 5.1223,
)  # fmt: skip
"""Radius of the smallest known circle holding n unit discs, n = 1 to 20, rounded to 4 decimals. R. L.
Graham, B. D. Lubachevsky, K. J. Nurmela, P. R. J. Ostergard 1998, "Dense packings of congruent circles in a
circle", Discrete Mathematics 181(1-3)."""

PROVEN = frozenset([*range(1, 15), 19])
"""The counts for which the values are proven smallest."""

ROUNDING = 5e-5
"""The table is rounded: a proof takes its values this much smaller."""


def equal_bound(count: int) -> float:
    """A proven lower bound of the radius of a circle that holds `count` unit discs.

    Beyond the proven table it is the larger of the largest smaller proven value and the bound that follows
    from Oler's inequality: at most 2/sqrt(3) pi s^2 + pi s + 1 points with mutual distances of 1 or more
    lie in a disc of radius s (N. Oler 1961, "An inequality in the geometry of numbers", Acta Mathematica
    105, quoted from memory), here with s = (radius - 1) / 2.
    """
    known = max(n for n in PROVEN if n <= count)
    table = EQUAL_DISCS[known - 1] - (ROUNDING if known > 2 else 0.0)
    if known == count:
        return table
    a, b, c = 2.0 / sqrt(3.0) * pi, pi, 1.0 - count
    spread = (-b + sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
    return max(table, 1.0 + 2.0 * spread)


def _three_bound(a: float, b: float, c: float) -> float:
    """The exact smallest radius holding three discs, a >= b >= c."""
    # Two across, the third beside them, if it is small enough (Descartes' circle theorem with the enclosing
    # circle's curvature).
    if c <= 1.0 / (1.0 / a + 1.0 / b - 1.0 / (a + b)):
        return a + b
    inner = 1.0 / a + 1.0 / b + 1.0 / c - 2.0 * sqrt(1.0 / (a * b) + 1.0 / (b * c) + 1.0 / (c * a))
    return -1.0 / inner


def enclosing_bound(radii: Floats) -> float:
    """A proven lower bound of the radius of a circle that holds discs of the given radii.

    The largest of: the exact value for the largest two or three; the bound for m equal discs of the m-th
    largest radius, for every m; and the radius whose area is that of all discs.

    Args:
        radii: Disc radii [mm], shape (n,), n at least 1.
    """
    ordered = np.sort(radii)[::-1]
    bound = max(float(ordered[m - 1]) * equal_bound(m) for m in range(1, len(ordered) + 1))
    bound = max(bound, sqrt(float(np.sum(ordered**2))))
    if len(ordered) >= 2:
        bound = max(bound, float(ordered[0] + ordered[1]))
    if len(ordered) >= 3:
        bound = max(bound, _three_bound(*ordered[:3].tolist()))
    return bound


@lru_cache(maxsize=4096)
def _enclosing(radii: tuple[float, ...]) -> float:
    n = len(radii)
    if len(set(radii)) == 1 and n <= len(EQUAL_DISCS):
        return radii[0] * EQUAL_DISCS[n - 1]
    if n <= 2:
        return sum(radii)
    r = np.array(radii)
    a, b = np.triu_indices(n, 1)
    apart = r[a] + r[b]
    rng = np.random.default_rng(0)
    best = float("inf")
    for _ in range(12 + 4 * n):
        start = np.append(rng.normal(size=2 * n) * r.sum() / 2.0, r.sum() * 2.0)

        def room(x: Floats) -> Floats:
            p = x[:-1].reshape(n, 2)
            between = np.hypot(*(p[a] - p[b]).T) - apart
            return np.concatenate([between, x[-1] - r - np.hypot(*p.T)])

        with np.errstate(invalid="ignore", divide="ignore"):
            answer = minimize(
                lambda x: x[-1],
                start,
                constraints={"type": "ineq", "fun": room},
                method="SLSQP",
                options={"maxiter": 200},
            )
        if answer.success and room(answer.x).min() > -1e-7:
            best = min(best, float(answer.x[-1]))
    return best


def enclosing_radius(radii: Floats) -> float:
    """Radius of the smallest circle found that holds discs of the given radii [mm].

    Equal discs up to 20 are taken from the table of Graham et al.; others are packed numerically from seeded
    starts, so the value is one that can be reached, not proven smallest.

    Args:
        radii: Disc radii [mm], shape (n,).
    """
    if not len(radii):
        return 0.0
    return _enclosing(tuple(sorted((round(float(r), 9) for r in radii), reverse=True)))

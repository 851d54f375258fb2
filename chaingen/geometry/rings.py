"""Round wire rings as arrays, one row a ring.

Conventions, for the whole package: millimetres; a ring is the torus round the circle with centre `c`, unit
normal `n` (its sign means nothing) and centreline radius `R`, swept by a wire of radius `r`. Inside
diameter is ``2 R - 2 r``, wire diameter ``2 r``.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Rings:
    """Poses and sizes of n rings.

    Attributes:
        centres: Ring centres [mm], shape (n, 3).
        normals: Unit normals of the ring planes, shape (n, 3).
        radii: Centreline radii [mm], shape (n,).
        wire_radii: Wire radii [mm], shape (n,).
    """

    centres: Floats
    normals: Floats
    radii: Floats
    wire_radii: Floats

    def __post_init__(self) -> None:
        """Check shapes: a wrong one is a bug of ours."""
        n = len(self.radii)
        assert self.centres.shape == (n, 3)
        assert self.normals.shape == (n, 3)
        assert self.radii.shape == self.wire_radii.shape == (n,)

    def __len__(self) -> int:
        return len(self.radii)

    def __getitem__(self, index: Ints | slice) -> "Rings":
        """The rings at `index` (a slice, an index array or a mask)."""
        return Rings(self.centres[index], self.normals[index], self.radii[index], self.wire_radii[index])

    @property
    def inside_diameters(self) -> Floats:
        """Inside diameters [mm], shape (n,)."""
        return 2.0 * (self.radii - self.wire_radii)

    @property
    def wire_diameters(self) -> Floats:
        """Wire diameters [mm], shape (n,)."""
        return 2.0 * self.wire_radii

    def half_extents(self) -> Floats:
        """Half sizes of each torus's axis-aligned bounding box [mm], shape (n, 3); exact."""
        flat = np.sqrt(np.clip(1.0 - self.normals**2, 0.0, 1.0))
        return np.asarray(self.radii[:, None] * flat + self.wire_radii[:, None])

    def bounds(self) -> tuple[Floats, Floats]:
        """Lower and upper corner [mm] of the box round all wires, each shape (3,); exact."""
        half = self.half_extents()
        return (self.centres - half).min(axis=0), (self.centres + half).max(axis=0)


def concatenate(parts: "list[Rings]") -> Rings:
    """All rings of `parts` in order."""
    return Rings(
        np.concatenate([p.centres for p in parts]),
        np.concatenate([p.normals for p in parts]),
        np.concatenate([p.radii for p in parts]),
        np.concatenate([p.wire_radii for p in parts]),
    )


def centreline_points(rings: Rings, count: int) -> Floats:
    """Even points of all centrelines [mm], shape (n, count, 3)."""
    one, two = axes_across(rings.normals)
    angle = 2.0 * np.pi * np.arange(count) / count
    arms = np.cos(angle)[None, :, None] * one[:, None] + np.sin(angle)[None, :, None] * two[:, None]
    return np.asarray(rings.centres[:, None] + rings.radii[:, None, None] * arms)


def axes_across(normals: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each normal, which complete it to a right-handed frame.

    Duff et al. 2017, "Building an orthonormal basis, revisited", JCGT 6(1); without a branch that would jump.

    Args:
        normals: Unit normals, shape (n, 3).

    Returns:
        First and second axis, shape (n, 3) each.
    """
    x, y, z = normals.T
    sign = np.where(z >= 0.0, 1.0, -1.0)
    a = -1.0 / (sign + z)
    b = x * y * a
    return (
        np.column_stack([1.0 + sign * x * x * a, sign * b, -sign * x]),
        np.column_stack([b, sign + y * y * a, -y]),
    )

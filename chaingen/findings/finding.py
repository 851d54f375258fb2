"""What a finding is: a wire body with eyes by which it is linked, and the beads on it."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np

from chaingen.geometry.shapes import Closure, Eye, Shape


@dataclass(frozen=True, slots=True)
class Bead:
    """A bead on a finding.

    Attributes:
        part: The part of the finding's strands that it is, see `Strand`.
        form: ``ball``, ``disc`` or ``rondelle``.
        diameter: Its diameter [mm].
        thickness: Its length along the hole [mm]; of a ball its diameter.
        hole: Diameter of its hole [mm].
        colour: Its colour as red, green and blue, 0 to 1.
        density: What it weighs [g/cm3]; None when that is not known.
    """

    part: str
    form: str
    diameter: float
    thickness: float
    hole: float
    colour: tuple[float, float, float]
    density: float | None = None

    @property
    def volume(self) -> float:
        """Its volume without the hole [mm3]: of a ball, or of a disc with a half-round rim."""
        d, t = self.diameter, self.thickness
        if self.form == "ball":
            # What a hole through the middle leaves of a ball is a ball as high as the hole is long.
            return float(pi / 6.0 * max(d * d - self.hole * self.hole, 0.0) ** 1.5)
        # A rim of half a circle on a cylinder (Pappus).
        inner = d - t
        rim = 2.0 * pi * (0.5 * inner + 2.0 * t / (3.0 * pi)) * (pi * t * t / 8.0)
        return pi / 4.0 * (inner * inner - self.hole * self.hole) * t + rim


@dataclass(frozen=True, slots=True)
class Cut:
    """A piece of wire to cut.

    Attributes:
        what: What it becomes, such as ``hook``.
        wire: Its diameter [mm].
        length: Its length [mm].
    """

    what: str
    wire: float
    length: float


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding, or a link of wire that is no round ring.

    Attributes:
        name: The name that the design gives it.
        kind: What it is, such as ``ear wire``.
        shape: Its shape; x runs along the piece, from its inner eyes to its outer ones.
        inner: Its eyes towards the piece, by their place in the shape's eyes; of a link those at one end.
        outer: Its eyes away from the piece: a clasp's mouth, an ear wire's hook; of a link those at the
            other end. None for what ends the piece.
        beads: The beads on it.
        cuts: Its wires as they are cut, where they are not its strands one by one: coils are wound of the
            wire that goes on from a loop, a ball is melted of the wire that it sits on.
        discs: Discs of sheet in it: diameter and thickness [mm].
        filling: Metal that is there besides its strands [mm3], negative when strands stand for more than
            there is: a disc is drawn as circles.
    """

    name: str
    kind: str
    shape: Shape
    inner: tuple[int, ...]
    outer: tuple[int, ...] = ()
    beads: tuple[Bead, ...] = ()
    cuts: tuple[Cut, ...] = ()
    discs: tuple[tuple[float, float], ...] = ()
    filling: float = 0.0

    @property
    def radius(self) -> float:
        """Distance of its farthest centreline point from its middle [mm]."""
        return self.shape.radius

    @property
    def wire_radius(self) -> float:
        """Its largest wire radius [mm]."""
        return self.shape.wire_radius

    @property
    def wires(self) -> tuple[tuple[float, float], ...]:
        """Its wires: diameter and length of each strand that is of wire [mm]."""
        return tuple(
            (2.0 * strand.wire_radius, strand.length)
            for strand in self.shape.strands
            if strand.part == "wire"
        )

    @property
    def cutting_list(self) -> tuple[Cut, ...]:
        """The pieces of wire to cut for it; the length of each is that of its centreline.

        Saw cuts and what is filed off an end are not counted.
        """
        return self.cuts or tuple(Cut(self.kind, wire, length) for wire, length in self.wires if length)

    @property
    def wire_volume(self) -> float:
        """Volume of its metal, round ends not counted [mm3]; of balls of metal the ball."""
        volume = self.filling
        for strand in self.shape.strands:
            if strand.part == "wire":
                r = strand.wire_radius
                volume += pi * r * r * strand.length if strand.length else 4.0 / 3.0 * pi * r**3
        return volume

    @property
    def quarter_turned(self) -> bool:
        """Whether its inner and outer eyes stand at right angles, to the nearest quarter turn."""
        if not self.inner or not self.outer:
            return False
        one, two = (eye_normal(self.shape.eyes[k]) for k in (self.inner[0], self.outer[0]))
        return bool(abs(one @ two) < np.sqrt(0.5))

    def mirrored(self) -> "Finding":
        """Its mirror image."""
        return replace(self, shape=self.shape.mirrored())


def eye_centre(eye: Eye) -> np.ndarray:
    """The middle of an eye in its shape's frame [mm], shape (3,)."""
    points = loop_points(eye)
    return np.asarray(0.5 * (points.min(axis=0) + points.max(axis=0)))


def eye_normal(eye: Eye) -> np.ndarray:
    """Unit normal of the plane nearest to an eye's loop, shape (3,); its sign means nothing."""
    points = loop_points(eye)
    _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    return np.asarray(axes[2])


def loop_points(eye: Eye) -> np.ndarray:
    """Points round an eye [mm], shape (k, 3)."""
    return np.array(
        [curve.point(curve.span * part / 16.0) for curve in eye.loop for part in range(16)], dtype=np.float64
    )


OPEN = (Closure.HOOK, Closure.BAR, Closure.GATE)
"""Eyes whose opening is part of how they work."""

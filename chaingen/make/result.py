"""Everything that is known about a built piece, in one frozen record."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chaingen.design.cautions import Caution
from chaingen.design.design import Design
from chaingen.geometry.types import Ints
from chaingen.make.counts import RingCount, areal_weight
from chaingen.make.finding_counts import BeadCount, FindingCount
from chaingen.make.metals import RingMetals
from chaingen.solve.bound import Threading
from chaingen.solve.check import CheckReport
from chaingen.solve.drape.drape import Draped, NotDraped
from chaingen.solve.placement import Answer, Placement
from chaingen.solve.supple import Supple
from chaingen.solve.verdict import Band, Fit, Nearest
from chaingen.weave.pieces import Sheet

if TYPE_CHECKING:
    # A plan is made of a result, so that its parts know of one.
    from chaingen.make.plan import Plan


@dataclass(frozen=True, eq=False)
class Result:
    """A placed, checked and judged piece.

    Attributes:
        design: The design, with its number of repeats settled.
        asked_length: Finished length asked for [mm], or None.
        placement: Poses, answer and evidence.
        check: What the check found.
        fit: The verdict's word.
        slack: Gap to spare beyond the clearance asked, in wire diameters of the binding pair.
        band: The verdict for rings that are off; None without a tolerance.
        threading: The hole with the least room for the last wire; None when nothing is linked.
        nearest: Sizes that do fit, when these do not.
        finished_length: Pulled straight, outside to outside [mm]; round the loop for a closed one; None where
            undefined.
        length_as_placed: The same as placed [mm].
        counts: Rings of each size and metal, with their weight; of both pieces of a pair.
        metals: The metal of every ring and finding.
        findings: Findings of each name and metal likewise.
        beads: Beads of each form, size and colour likewise.
        cautions: What its maker should know of how it holds and closes.
        drapes: The piece in each scene, once it was draped.
        supple: How far it bends and twists, once that was asked.
        plan: The maker's plan, once it was made.
    """

    design: Design
    asked_length: float | None
    placement: Placement
    check: CheckReport
    fit: Fit
    slack: float
    band: Band | None
    threading: Threading | None
    nearest: tuple[Nearest, ...]
    finished_length: float | None
    length_as_placed: float
    counts: tuple[RingCount, ...]
    metals: RingMetals
    findings: tuple[FindingCount, ...] = ()
    beads: tuple[BeadCount, ...] = ()
    cautions: tuple[Caution, ...] = ()
    drapes: tuple[Draped | NotDraped, ...] = ()
    supple: Supple | None = None
    plan: "Plan | None" = None

    @property
    def fits(self) -> bool:
        """Whether the piece can be made as designed."""
        return self.placement.answer is Answer.FITS

    @property
    def collided(self) -> Ints:
        """Indices of rings that are in a collision, a wrong link or a wrong shape."""
        report = self.check
        rings = {ring for collision in report.collisions for ring in collision.rings}
        rings |= {ring for pair in report.missing_links + report.unwanted_links for ring in pair}
        rings |= {ring for fault in report.faults for ring in fault.rings}
        return np.array(sorted(rings), dtype=np.int64)

    @property
    def stretch(self) -> float | None:
        """How much longer the piece is pulled straight than as placed, as a part of that."""
        if self.finished_length is None or not self.fits or self.length_as_placed <= 0.0:
            return None
        return self.finished_length / self.length_as_placed - 1.0

    @property
    def weight(self) -> float:
        """Weight of all rings, closed and solid, of findings and of beads of known density [g]."""
        wire = sum(count.weight for count in self.counts) + sum(count.weight for count in self.findings)
        return wire + sum(count.weight for count in self.beads if count.weight is not None)

    @property
    def beads_not_weighed(self) -> int:
        """How many beads the weight is without, for their density is not known."""
        return sum(count.count for count in self.beads if count.weight is None)

    @property
    def areal_weight(self) -> float | None:
        """Weight of a sheet per area as placed, away from its edges [g/cm2]; None for other pieces."""
        piece, area = self.design.piece, self.placement.cell_area
        if not isinstance(piece, Sheet) or area is None:
            return None
        return areal_weight(piece, self.placement.graph, self.metals, area)

    @property
    def exit_code(self) -> int:
        """0 fits, 1 does not fit or no fit found, 3 did not converge."""
        return {Answer.FITS: 0, Answer.NOT_CONVERGED: 3}.get(self.placement.answer, 1)

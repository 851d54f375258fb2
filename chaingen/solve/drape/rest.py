"""From poses free of contact to rest: Newton steps that never let two wires meet.

Each step solves (H + mu I) x = -gradient, with every contact's block made positive semidefinite where the
whole is not positive definite. No two rings move against each other by as much as both wire radii in a
step (see `bounds`), so that the links cannot change. The term mu follows that bound: it rises when the raw
step was longer, and falls when a whole step was taken.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.friction import Grip
from chaingen.solve.drape.linear import Ordering, solve
from chaingen.solve.drape.model import Barrier, Model, Setting, Terms, semidefinite

LEAST_PROXIMAL = 1e-9
"""The proximal term never falls under this [ring weights / mm]."""

LEAST_SHRINK = 0.9
"""Where the path can be followed only by shortening the reach to more than this part of itself, it is not."""

HELD = (LEAST_PROXIMAL, 1e-6, 1e-5, 1e-4)
"""Proximal terms that are tried for a move along the path [ring weights / mm]."""

KEPT_CONTACTS = 0.9
"""Part of the contacts that a move along the path must keep: those that open are slow to be found again."""

OVERLOAD = 4.0
"""A contact that carries this many times its stiffness is made stiffer: its gap is then a small part of the
reach, and steps against it hardly move."""

STIFFEST = 4.0
"""No contact is made stiffer than this many weights of the whole piece."""

LIGHTEST = 0.01
"""Lighter rings count as this heavy when forces are judged [ring weights]."""

FALL = 200.0
"""A piece that touches none of its supports and has come down by this much is lost [mm]."""

MOST_RAISES = 60
"""Times that the proximal term is raised tenfold for a system that stays unsolvable."""

LOAD_EVERY = 10
"""Steps between two looks for such contacts."""

MOST_REFUSED = 12
"""Steps in a row that are refused before a barrier is given up."""

ENOUGH_DESCENT = 1e-4
"""Part of the descent promised that an accepted step has at least."""


def unbalanced_force(gradient: Floats, bodies: Setting) -> float:
    """Largest force on a body, its torque over its radius included, in its own weight.

    Bodies lighter than a hundredth of the mean count as that heavy; where nothing weighs, all count as one.
    """
    weight = np.maximum(np.linalg.norm(bodies.loads, axis=1), LIGHTEST if bodies.loads.any() else 1.0)
    return float((np.sqrt((gradient**2).sum(axis=1)) / weight).max(initial=0.0))


Watch = Callable[[Poses], None]


class Settling:
    """A drape on its way at one barrier after another."""

    def __init__(
        self, bodies: Setting, poses: Poses, barrier: Barrier, *, watch: Watch | None = None
    ) -> None:
        self.bodies = bodies
        self.poses = poses
        self._height = float(poses.centres[:, 2].mean())
        self.model = Model(bodies, barrier)
        self.grip: Grip | None = None
        self.proximal = 1.0
        self.steps = 0
        self.energies: list[tuple[int, float]] = []
        self._stage = 0
        self._watch = watch
        self._limit = float(bodies.thinnest.min())
        self._ordering: tuple[bytes, Ordering] | None = None

    def terms(self) -> Terms:
        """Forces and stiffness now."""
        self.model.near(self.poses, 2.0 * self._limit)
        return self.model.terms(self.poses, self.grip)

    def _order(self, pairs: Ints) -> Ordering:
        key = pairs.tobytes()
        if self._ordering is None or self._ordering[0] != key:
            self._ordering = key, Ordering(len(self.bodies.radii), pairs, self.bodies.width)
        return self._ordering[1]

    def _direction(self, terms: Terms, right: Floats, least: float = 0.0) -> Floats:
        """Solution of a Newton step with at least this proximal term; raises its own where it takes that."""
        ordering = self._order(terms.pairs)
        # The exact second derivatives serve where they are positive definite, which they are near rest.
        soft = max(least, self.proximal) * np.eye(self.bodies.width)
        step = solve(
            ordering, terms.own + terms.own_drag + soft, terms.pairs, terms.blocks + terms.drag, right
        )
        if step is None:
            own = semidefinite(terms.own) + terms.own_drag
            blocks = semidefinite(terms.blocks) + terms.drag
        for _ in range(MOST_RAISES if step is None else 0):
            step = solve(
                ordering,
                own + max(least, self.proximal) * np.eye(self.bodies.width),
                terms.pairs,
                blocks,
                right,
            )
            if step is not None:
                break
            self.proximal *= 10.0
        return np.zeros_like(right) if step is None else step

    def _move(self, terms: Terms, right: Floats) -> bool:
        """One step; returns whether it was taken."""
        radii = self.bodies.radii
        step = self._direction(terms, right)
        scale = self.model.bound(self.poses, step)
        slope = float((terms.gradient * step).sum())
        if not slope < 0.0:
            self.proximal = 10.0 * self.proximal
            return False
        start, _ = self.model.slip_energy(terms.grip, self.poses, np.zeros_like(step))
        start += terms.energy
        part = scale
        for _ in range(40):
            trial = self.poses.stepped(part * step, radii)
            energy = self.model.energy(trial, terms.least)
            if np.isfinite(energy):
                more, grip = self.model.slip_energy(terms.grip, self.poses, part * step)
                if energy + more <= start + ENOUGH_DESCENT * part * slope + 1e-13 * abs(start):
                    break
            part *= 0.5
        else:
            self.proximal = 10.0 * self.proximal
            return False
        if scale < 1.0:
            self.proximal = self.proximal * min(4.0, max(1.5, 1.0 / scale))
        elif part == 1.0:
            self.proximal = max(LEAST_PROXIMAL, 0.2 * self.proximal)
        elif part < 0.2:
            self.proximal *= 2.0
        else:
            # Springs of friction that turn round shorten step after step while all else waits to move on.
            self.proximal = max(LEAST_PROXIMAL, 0.5 * self.proximal)
        self.poses = trial
        self.grip = grip
        self.steps += 1
        self.energies.append((self._stage, energy))
        if self._watch is not None:
            self._watch(trial)
        return True

    def relax(self, tolerance: float, most_steps: int) -> tuple[Terms, bool]:
        """Steps at this barrier until no ring is pushed by more than `tolerance` of its own weight.

        Returns:
            Forces at the end, and whether they are balanced.
        """
        terms = self.terms()
        refused = 0
        for number in range(most_steps):
            if unbalanced_force(terms.gradient, self.bodies) <= tolerance:
                return terms, True
            moved = self._move(terms, -terms.gradient)
            refused = 0 if moved else refused + 1
            if refused > MOST_REFUSED:
                break
            if moved:
                terms = self.terms()
            if self.lost(terms):
                break
            if (refused or number % LOAD_EVERY == LOAD_EVERY - 1) and self._stiffen(terms):
                terms = self.terms()
        return terms, unbalanced_force(terms.gradient, self.bodies) <= tolerance

    def lost(self, terms: Terms) -> bool:
        """Whether the piece has fallen off all its supports."""
        count = len(self.bodies.radii) + len(self.bodies.solids)
        touching = bool((terms.keys % count >= len(self.bodies.radii)).any())
        fallen = self._height - float(self.poses.centres[:, 2].mean()) > FALL
        return bool(self.bodies.solids) and fallen and not touching

    def _stiffen(self, terms: Terms) -> bool:
        """Stiffen contacts that carry far more than they are made for; returns whether there were any."""
        barrier = self.model.barrier
        stiffness = barrier.of(terms.keys)
        # A contact squeezed for a moment must not be made stiffer again and again.
        weight = float(np.abs(self.bodies.loads).sum())
        wanted = np.minimum(terms.forces, STIFFEST * weight if weight else np.inf)
        weak = wanted > OVERLOAD * stiffness
        if not weak.any():
            return False
        following = replace(barrier, keys=terms.keys, stiffness=np.where(weak, wanted, stiffness))
        if not self.change(following):
            return False
        self.proximal = 1.0
        return True

    def following_load(self, terms: Terms, least: float) -> Barrier:
        """The barrier as stiff as the force that each contact carries, at least `least` [ring weights]."""
        return Barrier(self.model.barrier.reach, least, terms.keys, np.maximum(terms.forces, least))

    def change(self, barrier: Barrier) -> bool:
        """Go on with another barrier; returns False, and keeps the old one, where it leaves no room."""
        before, ratio = self.model.on, barrier.reach / self.model.barrier.reach
        model = Model(self.bodies, barrier)
        model.near(self.poses, 2.0 * self._limit)
        if not model.clear(self.poses):
            return False
        self.model = model
        self._stage += 1
        self.proximal = min(self.proximal, 1.0)
        if self.grip is not None:
            # Nodes are counted anew: the old places are looked up by their new numbers.
            node = self.model.on.renumbered(before, self.grip.bodies[:, 0], self.grip.node)
            self.grip = replace(self.grip, node=node, stretch=ratio * self.grip.stretch)
        return True

    def shrink(self, reach: float, tolerance: float, most_steps: int) -> bool:
        """Shorten the barrier's reach, moving along the path that rest takes meanwhile.

        At rest the gradient vanishes for every reach e, so that poses change with it by
        dx = -H^-1 d(gradient)/de de: gaps shrink with the reach instead of being let go and found again.
        Where one such move is too long, the reach is shortened in smaller parts.

        Args:
            reach: The reach to come to [mm].
            tolerance: Largest unbalanced force between parts [ring weights].
            most_steps: Newton steps between parts.

        Returns:
            Whether forces were balanced between the parts.
        """
        balanced = True
        while self.model.barrier.reach > reach * (1.0 + 1e-9):
            barrier, terms = self.model.barrier, self.terms()
            small = 1e-5
            closer = self.model.with_reach((1.0 - small) * barrier.reach)
            slope = (closer.contact_gradient(self.poses) - self.model.contact_gradient(self.poses)) / small
            ways: list[Floats] = []
            ratio, after = reach / barrier.reach, None
            while after is None and ratio < LEAST_SHRINK:
                # Rings that nothing holds may fly far: a larger proximal term holds them.
                for number, proximal in enumerate(HELD):
                    if number == len(ways):
                        ways.append(self._direction(terms, -slope, proximal))
                    after = self._ahead(
                        (1.0 - ratio) * ways[number], ratio * barrier.reach, len(terms.forces)
                    )
                    if after is not None:
                        break
                else:
                    ratio = ratio**0.5
            before = self.poses
            if after is not None:
                self.poses = after
            if not self.change(replace(barrier, reach=max(reach, ratio * barrier.reach))):
                self.poses = before
                return False
            if self.model.barrier.reach > reach * (1.0 + 1e-9):
                balanced = self.relax(tolerance, most_steps)[1]
        return balanced

    def _ahead(self, step: Floats, reach: float, contacts: int) -> Poses | None:
        """Poses after a step to another reach, when it is allowed and keeps most of the contacts."""
        if self.model.bound(self.poses, step) < 1.0:
            return None
        trial = self.poses.stepped(step, self.bodies.radii)
        touching = self.model.with_reach(reach, same_nodes=False).touching(trial)
        return trial if touching >= KEPT_CONTACTS * contacts else None

    def support(self) -> float:
        """Upward force of the solids over the weight of all rings."""
        push = self.model.solid_forces(self.poses, self.terms().grip)
        weight = -float(self.bodies.loads[:, 2].sum())
        return push / weight if weight else 0.0

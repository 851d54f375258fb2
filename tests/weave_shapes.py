"""What the tests of the catalogue's weaves ask of every one of them."""

from dataclasses import replace

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.near import near_pairs
from chaingen.geometry.packing import enclosing_bound
from chaingen.solve.check import check
from chaingen.solve.contacts import Contacts
from chaingen.solve.motion import images_of
from chaingen.solve.slp import widen
from chaingen.solve.weaves import solve_weave
from chaingen.weave.tiling import chain_cells, sheet_cells, tiled, weave_cell
from chaingen.weave.weave import Repeats
from tests.oracles import outside_linking, solid_angle_linking


def placed(weave, sizes=()):
    """Rings and motion of the weave's cell, which must be sound and fit."""
    _, state, search, gap = solve_weave(weave, sizes)
    assert search.sound >= 1
    assert gap > 0.0
    return state.rings, state.motion


def posed(weave, centres, axes, period, across=None):
    """The weave with another rough pose."""
    rings = tuple(
        replace(ring, centre=tuple(centre), axis=tuple(axis))
        for ring, centre, axis in zip(weave.rings, centres, axes, strict=True)
    )
    return replace(weave, rings=rings, pose=replace(weave.pose, period=period, across=across))


def piece(weave):
    """Graph and rings of a finite piece: cells in which every ring in the middle has all its links."""
    rings, motion = placed(weave)
    cells = sheet_cells(4, 3) if weave.repeats is Repeats.SHEET else chain_cells(7)
    graph, _ = tiled(weave_cell(weave), cells)
    return graph, images_of(rings, motion, cells)


def piece_is_sound(weave):
    return check(*piece(weave)).sound


def tightest_ratios(weave):
    """Aspect ratio of each role when all wires are thickened as far as the links allow."""
    graph, state, _, _ = solve_weave(weave)
    factor = widen(Contacts(graph), state, by_scale=True).value
    return {role.name: 2.0 * role.size.radius / (factor * role.wire_diameter) - 1.0 for role in weave.roles}


def packing_bounds(weave):
    """Proven lower bound of each role's aspect ratio: the wires that pass through one of its rings."""
    wire = {ring.name: weave.role(ring.role).size.wire_radius for ring in weave.rings}
    bounds = {role.name: 1.0 for role in weave.roles}
    for ring in weave.rings:
        through = [wire[link.second] for link in weave.links if link.first == ring.name]
        through += [wire[link.first] for link in weave.links if link.second == ring.name]
        if through:
            bound = enclosing_bound(np.array(through)) / wire[ring.name]
            bounds[ring.role] = max(bounds[ring.role], bound)
    return bounds


def role_degrees(weave):
    """The degrees that rings of each role have."""
    degrees = weave.degrees()
    return {role.name: {degrees[r.name] for r in weave.rings if r.role == role.name} for role in weave.roles}


def gauss(rings, i, j):
    """Linking number of two rings by the Gauss integral of their polygons."""
    number = solid_angle_linking(*((rings.centres[k], rings.normals[k], rings.radii[k]) for k in (i, j)))
    assert abs(number - round(number)) < 0.02
    return round(number)


def outside_links(weave):
    """Linked pairs among all near pairs of a small piece, and those of its graph, as sets of pairs.

    The linking numbers are the Gauss integral's, which shares nothing with the program's own test.
    """
    rings, motion = placed(weave)
    cells = sheet_cells(2, 2) if weave.repeats is Repeats.SHEET else chain_cells(3)
    graph, _ = tiled(weave_cell(weave), cells)
    patch = images_of(rings, motion, cells)
    pairs = near_pairs(patch, margin=0.0)
    found = {tuple(sorted(pair)) for pair in pairs.tolist() if abs(gauss(patch, *pair)) == 1}
    return found, {tuple(sorted(pair)) for pair in graph.links.tolist()}


def cell_links_are_outside_links(weave, most=None):
    """Whether SnapPy's exact diagrams of polygons find every link of the cell (or the first `most`)."""
    rings, motion = placed(weave)
    index = {ring.name: k for k, ring in enumerate(weave.rings)}
    for link in weave.links[:most]:
        patch = images_of(rings, motion, np.array([[0, 0], [link.along, link.across]]))
        pair = (index[link.first], len(rings) + index[link.second])
        circles = [(patch.centres[k], patch.normals[k], patch.radii[k]) for k in pair]
        if outside_linking(*circles, segments=24) != 1:
            return False
    return True


def senses(weave, first, second, offsets, sizes=()):
    """Which way ring `second` of the cells further along passes through ring `first`: +1 or -1 for each.

    All rings of a row run the same way round; the first sense is made +1.
    """
    rings, motion = placed(weave, sizes)
    index = {ring.name: k for k, ring in enumerate(weave.rings)}
    found = []
    for offset in offsets:
        patch = images_of(rings, motion, np.array([[0, 0], [offset, 0]]))
        found.append(gauss(patch, index[first], len(rings) + index[second]))
    return [found[0] * sense for sense in found]


def slope(normal, towards):
    """+1 if a ring seen from `towards`, x upwards, rises to the right; -1 if to the left."""
    right = np.cross([1.0, 0.0, 0.0], towards)
    return -np.sign((normal @ right) * normal[0])


def aligned(rings, k, other):
    """The rings with the axis of one turned to run the same way as that of another."""
    normals = rings.normals.copy()
    if normals[k] @ normals[other] < 0.0:
        normals[k] *= -1.0
    return Bodies(rings.centres, normals, rings.radii, rings.wire_radii)

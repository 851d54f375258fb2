"""Solids of wire bodies with true surfaces, for STEP: tori, cylinders, spheres and planes.

A strand is a solid of one face for each of its curves, which share whole circles, and two half balls at open
ends. The seam of a face is carried along without twist, so that seams meet; where a closed strand comes round
turned, the last circle is split where the first seam begins. Circles that stand for a disc make one solid.
"""

from collections.abc import Sequence
from math import atan2, pi, tau
from typing import Any

import numpy as np
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakeSolid,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepLib import BRepLib
from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol, BRepPrimAPI_MakeSphere, BRepPrimAPI_MakeTorus
from OCP.GC import GC_MakeArcOfCircle
from OCP.Geom import Geom_CylindricalSurface, Geom_SphericalSurface, Geom_ToroidalSurface
from OCP.gp import gp_Ax1, gp_Ax2, gp_Ax3, gp_Dir, gp_Pnt
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopoDS import TopoDS, TopoDS_Compound

from chaingen.geometry.bodies import axes_across
from chaingen.geometry.centrelines import FULL_TURN, Arc, Curve, Straight
from chaingen.geometry.shapes import Shape, Strand
from chaingen.geometry.types import Floats
from chaingen.model.wire_mesh import SMOOTH, discs


def shape_solids(shape: Shape, part: str) -> Any:
    """The solid of one part of a shape in its own frame, or the compound of its solids."""
    solids = [
        disc_solid(row) if len(row) > 1 or _fills_itself(row[0]) else strand_solid(row[0])
        for row in discs([strand for strand in shape.strands if strand.part == part])
    ]
    if len(solids) == 1:
        return solids[0]
    builder, compound = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(compound)
    for solid in solids:
        builder.Add(compound, solid)
    return compound


def strand_solid(strand: Strand) -> Any:
    """The solid of a strand: a whole torus, a ball, or a tube along its curves."""
    wire_radius, first = strand.wire_radius, strand.curves[0]
    if isinstance(first, Arc) and first.angle >= FULL_TURN:
        return BRepPrimAPI_MakeTorus(_axes_of(first), first.radius, wire_radius).Solid()
    if strand.length == 0.0:
        return BRepPrimAPI_MakeSphere(gp_Pnt(*first.point(0.0)), wire_radius).Solid()
    # As far apart as ends of one strand may be that count as meeting.
    tolerance = SMOOTH * max(1.0, strand.length)
    curves = [curve for curve in strand.curves if curve.length > tolerance]
    begin, ahead = np.array(curves[0].point(0.0)), np.array(curves[0].tangent(0.0))
    up = axes_across(ahead[None])[0][0]
    faces = [] if strand.closed else [_half_ball(begin, -ahead, up, wire_radius)]
    for curve in curves:
        face, up = _tube(curve, up, wire_radius)
        faces.append(face)
    if not strand.closed:
        last = curves[-1]
        end, ahead = np.array(last.point(last.span)), np.array(last.tangent(last.span))
        faces.append(_half_ball(end, ahead, up, wire_radius))
    sewing = BRepBuilderAPI_Sewing(tolerance)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    shell = sewing.SewedShape()
    assert shell.ShapeType() == TopAbs_ShapeEnum.TopAbs_SHELL, "faces of a strand do not meet"
    assert sewing.NbFreeEdges() == 0, "the shell of a strand is open"
    solid = BRepBuilderAPI_MakeSolid(TopoDS.Shell(shell)).Solid()
    BRepLib.OrientClosedSolid_s(solid)
    return solid


def disc_solid(circles: Sequence[Strand]) -> Any:
    """A flat disc with half-round rims outside and round its hole; without a hole if its wires fill that.

    The rim of one that is smaller than it is thick is no torus but a surface of revolution.

    Args:
        circles: The circles that stand for it, the smallest first.
    """
    inner, outer = circles[0].curves[0], circles[-1].curves[0]
    assert isinstance(inner, Arc)
    assert isinstance(outer, Arc)
    thick = circles[0].wire_radius
    axes = _axes_of(outer)

    def at(out: float, rise: float) -> Any:
        middle, start, axis = (np.array(v) for v in (outer.centre, outer.start, _axis(outer)))
        return gp_Pnt(*(middle + out * start + rise * axis).tolist())

    def rim(radius: float, side: float) -> Any:
        arc = GC_MakeArcOfCircle(
            at(radius, -thick), at(radius + side * thick, 0.0), at(radius, thick)
        ).Value()
        return BRepBuilderAPI_MakeEdge(arc).Edge()

    def line(begin: Any, end: Any) -> Any:
        return BRepBuilderAPI_MakeEdge(begin, end).Edge()

    hole = inner.radius > thick + SMOOTH
    least = inner.radius if hole else 0.0
    section = BRepBuilderAPI_MakeWire()
    for edge in (
        line(at(least, -thick), at(outer.radius, -thick)),
        rim(outer.radius, 1.0),
        line(at(outer.radius, thick), at(least, thick)),
        rim(least, -1.0) if hole else line(at(0.0, thick), at(0.0, -thick)),
    ):
        section.Add(edge)
    face = BRepBuilderAPI_MakeFace(section.Wire(), True).Face()
    revolved = BRepPrimAPI_MakeRevol(face, gp_Ax1(axes.Location(), axes.Direction())).Shape()
    solid = TopoDS.Solid(revolved)
    BRepLib.OrientClosedSolid_s(solid)
    return solid


def _fills_itself(strand: Strand) -> bool:
    first = strand.curves[0]
    return isinstance(first, Arc) and first.angle >= FULL_TURN and first.radius <= strand.wire_radius


def _half_ball(middle: Floats, outwards: Floats, up: Floats, radius: float) -> Any:
    surface = Geom_SphericalSurface(_axes(middle, outwards, up), radius)
    return BRepBuilderAPI_MakeFace(surface, 0.0, tau, 0.0, 0.5 * pi, SMOOTH).Face()


def _tube(curve: Curve, up: Floats, radius: float) -> tuple[Any, Floats]:
    """The face along a curve.

    Args:
        curve: The curve.
        up: Unit vector from its beginning to where its seam begins, shape (3,).
        radius: Radius of the wire [mm].

    Returns:
        The face, and the unit vector from the curve's end to where the seam ends, shape (3,).
    """
    if isinstance(curve, Straight):
        cylinder = Geom_CylindricalSurface(_axes(curve.begin, curve.direction, up), radius)
        return BRepBuilderAPI_MakeFace(cylinder, 0.0, tau, 0.0, curve.length, SMOOTH).Face(), up
    start, ahead, axis = np.array(curve.start), np.array(curve.ahead), _axis(curve)
    seam = atan2(float(up @ axis), float(up @ start))
    torus = Geom_ToroidalSurface(_axes(curve.centre, axis, start), curve.radius, radius)
    face = BRepBuilderAPI_MakeFace(torus, 0.0, curve.angle, seam, seam + tau, SMOOTH).Face()
    out = np.cos(curve.angle) * start + np.sin(curve.angle) * ahead
    return face, np.cos(seam) * out + np.sin(seam) * axis


def _axis(arc: Arc) -> Floats:
    return np.cross(arc.start, arc.ahead)


def _axes(
    origin: Sequence[float] | Floats, axis: Sequence[float] | Floats, first: Sequence[float] | Floats
) -> Any:
    return gp_Ax3(gp_Pnt(*map(float, origin)), gp_Dir(*map(float, axis)), gp_Dir(*map(float, first)))


def _axes_of(arc: Arc) -> Any:
    return gp_Ax2(gp_Pnt(*arc.centre), gp_Dir(*_axis(arc).tolist()), gp_Dir(*arc.start))

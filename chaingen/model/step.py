"""STEP (ISO 10303-21, protocol 214), written through Open CASCADE Technology: the true surfaces of a piece.

Conventions: millimetres, in the placement's coordinates. There is a product for each kind of body, which is
solids with faces that are tori, cylinders, spheres and planes, not facets: a ring is one torus, a finding's
wire is a solid for each strand with half-round ends, a bead a ball or a disc. A body is an instance of its
product under its own name; one of several kinds, such as a pin with its beads, is an instance of a product
made of theirs. The piece is the product of all bodies.

The library is large. It is an extra, imported only to write.

It writes a counter that goes on for as long as a program runs, the time of day, and letters that the
format wants in a code of their own (section 6.4.3 of its edition of 2016). Header, numbers and names are
therefore put in here, one statement a line, and colours in order: the same piece gives the same bytes.
"""

import datetime
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import ring_shape
from chaingen.model.kinds import Model, kinds_of_bodies

MOST_BODIES = 20_000
"""Programs that read STEP are slow with more."""

OLDEST = 8
"""The library's oldest version that will do: names changed before it."""

NO_DAY = datetime.date(1970, 1, 1)
"""The day told where none is given: the format must have one."""

_WRAPPED = re.compile(rb"(?<!;)\n *")
_NUMBERED = re.compile(rb"(?<=NEXT_ASSEMBLY_USAGE_OCCURRENCE\(')\d+(?=')")
_STAND_IN = re.compile(rb"'=(\d+)='")
_SCHEMA = re.compile(rb"FILE_SCHEMA\(.*?\);", re.DOTALL)
_STYLED = b"MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
_STYLES = re.compile(rb"^#\d+ = %s\(" % _STYLED, re.MULTILINE)
_STATEMENT = re.compile(rb"^#(\d+) = (.*);$", re.MULTILINE)
_NUMBER = re.compile(rb"#(\d+)")
_UNWRITABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_CODED = re.compile("[^ -~]+")


def write_step(path: Path, bodies: Bodies, model: Model, *, title: str, date: datetime.date | None) -> int:
    """Write a piece as STEP in millimetres, whole or not at all; the same piece gives the same bytes.

    Args:
        path: The file.
        bodies: The bodies.
        model: The same bodies as kinds and places; its meshes are not used. It is not stretched: a torus
            stretched is no torus.
        title: What the piece is called.
        date: The day it was made, for the file to tell; None tells `NO_DAY`.

    Returns:
        Size of the file in bytes.

    Raises:
        CannotWrite: The library is not there, or the file cannot be written.
    """
    assert model.stretch == (1.0, 1.0, 1.0), "STEP has no stretched surfaces"
    why = why_not(len(bodies))
    if why:
        raise CannotWrite(f"cannot write {path}: {why}")
    names: list[str] = []
    with _silence():
        told = _written(_document(bodies, model, title, names), path)
    content = _finished(told, names, title, date or NO_DAY)
    with whole_file(path) as stream:
        stream.write(content)
    return len(content)


def why_not(count: int) -> str:
    """Why no STEP of so many bodies can be written here; empty when it can."""
    if not 0 < count <= MOST_BODIES:
        return f"STEP is for 1 to {MOST_BODIES:,} bodies, not {count:,}"
    try:
        import OCP.STEPCAFControl
    except (ImportError, OSError) as error:
        return f"STEP needs cadquery-ocp-novtk: {error}"
    version = str(OCP.__version__)
    if int(version.partition(".")[0]) < OLDEST:
        return f"STEP needs cadquery-ocp-novtk {OLDEST}.0 or newer, not {version}"
    return ""


def encoded(text: str) -> bytes:
    """A string as the format has it, between its apostrophes, with a space for what no text should hold."""

    def code(found: re.Match[str]) -> str:
        letters = found[0]
        if max(letters) > "\uffff":
            return f"\\X4\\{letters.encode('utf-32-be').hex().upper()}\\X0\\"
        return f"\\X2\\{letters.encode('utf-16-be').hex().upper()}\\X0\\"

    plain = _UNWRITABLE.sub(" ", text).replace("\\", "\\\\").replace("'", "''")
    return _CODED.sub(code, plain).encode("ascii")


def _document(bodies: Bodies, model: Model, title: str, names: list[str]) -> Any:
    """The piece as a document of the library, each name a stand-in for one of `names`, which it fills."""
    from OCP.gp import gp_Trsf
    from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool

    from chaingen.model.step_shapes import shape_solids

    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    numbers: dict[str, int] = {}

    def call(label: Any, name: str) -> Any:
        number = numbers.setdefault(name, len(numbers))
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(f"={number}="))
        return label

    products = []
    for kind in model.kinds:
        body = int(kind.bodies[0])
        shape = bodies.shape(body) or ring_shape(float(bodies.radii[body]), float(bodies.wire_radii[body]))
        ((part, _, _),) = kind.mesh.parts
        product = call(shapes.AddShape(shape_solids(shape, part), False), kind.name)
        colour = Quantity_Color(
            *model.materials[kind.material].colour, Quantity_TypeOfColor.Quantity_TOC_sRGB
        )
        colours.SetColor(product, colour, XCAFDoc_ColorType.XCAFDoc_ColorSurf)
        products.append(product)
    composed: dict[tuple[int, ...], Any] = {(number,): product for number, product in enumerate(products)}
    piece = call(shapes.NewShape(), title)
    for body, kinds in enumerate(kinds_of_bodies(model)):
        if kinds not in composed:
            own = [model.kinds[number].name for number in kinds]
            composed[kinds] = call(shapes.NewShape(), " and ".join(own))
            for number, name in zip(kinds, own, strict=True):
                call(shapes.AddComponent(composed[kinds], products[number], TopLoc_Location()), name)
        place = gp_Trsf()
        place.SetValues(*np.column_stack([model.rotations[body], model.centres[body]]).ravel().tolist())
        call(shapes.AddComponent(piece, composed[kinds], TopLoc_Location(place)), model.names[body])
    shapes.UpdateAssemblies()
    names.extend(numbers)
    return document


def _written(document: Any, path: Path) -> bytes:
    """What the library makes of a document."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Writer

    writer = STEPCAFControl_Writer()
    # Curves on surfaces say nothing that the edges do not.
    settings = {"write.surfacecurve.mode": 0, "write.step.schema": 4, "write.step.unit": 2}
    before = {name: Interface_Static.IVal_s(name) for name in settings}
    stream = io.BytesIO()
    try:
        for name, value in settings.items():
            assert Interface_Static.SetIVal_s(name, value), name
        done = writer.Transfer(document) and (
            writer.WriteStream(stream) == IFSelect_ReturnStatus.IFSelect_RetDone
        )
    finally:
        for name, value in before.items():
            Interface_Static.SetIVal_s(name, value)
    if not done:
        raise CannotWrite(f"cannot write {path}: Open CASCADE Technology does not write it")
    return stream.getvalue()


def _finished(told: bytes, names: Sequence[str], title: str, date: datetime.date) -> bytes:
    """The file with its header, names, and numbers of instances."""
    told = _WRAPPED.sub(b"", told)
    schema = _SCHEMA.search(told)
    assert schema is not None
    data = _styles_in_order(told[told.index(b"DATA;\n") :])
    counter = iter(range(1, data.count(b"NEXT_ASSEMBLY_USAGE_OCCURRENCE(") + 1))
    data = _NUMBERED.sub(lambda _: b"%d" % next(counter), data)
    coded = [encoded(name) for name in names]
    data = _STAND_IN.sub(lambda found: b"'%s'" % coded[int(found[1])], data)
    header = (
        b"ISO-10303-21;\nHEADER;\n"
        b"FILE_DESCRIPTION((''),'2;1');\n"
        b"FILE_NAME('%s','%sT00:00:00',(''),(''),'Open CASCADE Technology','chaingen','');\n"
    ) % (encoded(title), date.isoformat().encode())
    return header + schema[0] + b"\nENDSEC;\n" + data


def _styles_in_order(data: bytes) -> bytes:
    """The data with what tells colours, which comes last, in the order of what it colours.

    The library has it in the order of addresses in memory.
    """
    data, end = data[: data.index(b"ENDSEC;")], data[data.index(b"ENDSEC;") :]
    begin = _STYLES.search(data)
    if begin is None:
        return data + end
    rest = dict(_STATEMENT.findall(data[begin.start() :]))
    coloured = {
        number: int(_NUMBER.findall(content)[-1])
        for number, content in rest.items()
        if content.startswith(b"STYLED_ITEM(")
    }
    roots = [number for number, content in rest.items() if content.startswith(_STYLED)]
    for root in roots:
        *items, context = _NUMBER.findall(rest[root])
        items.sort(key=coloured.__getitem__)
        rest[root] = b"%s('',(%s),#%s)" % (_STYLED, b",".join(b"#" + item for item in items), context)
    roots.sort(key=lambda root: min(coloured[item] for item in _NUMBER.findall(rest[root])[:-1]))
    order: dict[bytes, int] = {}
    first = min(map(int, rest))
    ahead = roots[::-1]
    while ahead:
        number = ahead.pop()
        if number in rest and number not in order:
            order[number] = first + len(order)
            ahead += _NUMBER.findall(rest[number])[::-1]
    lines = (
        b"#%d = %s;\n"
        % (
            order[number],
            _NUMBER.sub(lambda found: b"#%d" % order.get(found[1], int(found[1])), rest[number]),
        )
        for number in order
    )
    return data[: begin.start()] + b"".join(lines) + end


@contextmanager
def _silence() -> Iterator[None]:
    """Have the library print nothing."""
    from OCP.Message import Message

    messenger = Message.DefaultMessenger_s()
    printers = list(messenger.Printers())
    for printer in printers:
        messenger.RemovePrinter(printer)
    try:
        yield
    finally:
        for printer in printers:
            messenger.AddPrinter(printer)

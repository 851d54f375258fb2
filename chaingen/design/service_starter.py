"""The table of a service for a design to start from: its process, and what can be said of it."""

from string import Template

from chaingen.design.service import Service, Sprues, usual_service
from chaingen.design.service_names import process_advice, process_choice
from chaingen.errors import BadInput, Problem
from chaingen.stock.metals import find_metal
from chaingen.stock.processes import PROCESSES, Process
from chaingen.stock.shrinkage import MOULD, casting_shrinkage
from chaingen.tables import quoted
from chaingen.units import format_mm

_HEAD = Template("""\

# Who makes the piece from its model, and how it is prepared for that: `chaingen make` writes what is to be
# sent, with checks. The limits in comments are usual ones and only a start: ask for those of your service,
# take away the # and write them down.
[service]
process = $process  # $made
# smallest_wire = $wire  # the thinnest wire that it makes
""")

_GAP = Template("""\
# smallest_gap = $gap  # parts that are nearer fuse: the full distance between two surfaces
""")

_BUILD = Template("""\
# build = [$build]  # width, depth and height that it can build
""")

_OPEN_UP = """\
open_up = true  # parts are placed with that gap, if their sizes have the room; false: it is only checked
"""

_CAST = Template("""\
route = "direct"  # the pattern itself is burnt out; or "rubber mould", and then mould_shrinkage = $mould
""")

_FINISHING = """\
finishing = "0 mm"  # what filing and polishing take off the thickness of a wire, such as "0.1 mm"
"""

_LOOSE = Template("""\
cut = $cut  # along the middle of the wire, narrower inside; "0 mm" for closed rings
opened = "0 mm"  # how far the ends are twisted apart, sideways
layout = "flat sheet"  # each by itself; or "flat sheet with sprues", or "tree"
spacing = $spacing  # least room between rings as laid out
spare = $spare  # percent more rings than needed
""")

_IN_ONE = """\
# soldered = [["1a", "1b"]]  # pairs of bodies that are joined where they are nearest
"""

_SPRUES = Template("""\
# $when
# [service.sprues]
# feed = $feed  # a feeder's section over its wire's, by area
# length = $length  # free length of a feeder$least
""")

_ANGLE = Template("""\
# angle = $angle  # of a tree, degrees between feeder and main, away from the button
""")

_MAIN = """\
# main = "6 mm"  # diameter of the main; twice the thickest feeder, 4 mm at the least, when left out
# button = "15 mm"  # diameter of the button; two and a half times the main when left out
"""


def starter_service(process: str, metal: str) -> str:
    """The lines of a commented table ``[service]``, to stand at the end of a design.

    Whatever stands in it as a key, and not in a comment, is what a key that is left out stands for.

    Args:
        process: The name of a process.
        metal: The name of the design's metal; one that is none is judged when the design is read.

    Raises:
        BadInput: The process is not known.
    """
    if process not in PROCESSES:
        raise BadInput([Problem("process", repr(process), process_choice(), process_advice(process))])
    service = usual_service(PROCESSES[process])
    return "".join([*_limits(service), *_preparation(service, metal), *_sprues(service.process)])


def _limits(service: Service) -> list[str]:
    """What the process is, and its usual limits."""
    process = service.process
    made = "all parts in their places" if process.assembled else "rings by themselves, linked by hand"
    head = _HEAD.substitute(process=quoted(process.name), made=made, wire=_mm(service.smallest_wire))
    build = _BUILD.substitute(build=", ".join(map(_mm, service.build)))
    if not process.assembled:
        return [head, build]
    return [head, _GAP.substitute(gap=_mm(service.smallest_gap)), build, _OPEN_UP]


def _preparation(service: Service, metal: str) -> list[str]:
    """What shrinks and is finished off, and how loose rings are made."""
    lines = [_shrinkage(service.process, metal), _FINISHING]
    if service.process.casts:
        lines.insert(0, _CAST.substitute(mould=f"{100.0 * MOULD:g}"))
    if service.process.assembled:
        return [*lines, _IN_ONE]
    loose = _LOOSE.substitute(
        cut=_mm(service.cut), spacing=_mm(service.spacing), spare=f"{100.0 * service.spare:g}"
    )
    return [*lines, loose]


def _shrinkage(process: Process, metal: str) -> str:
    """The shrinkage of the metal, or a comment where none is known."""
    axes = "or three, of x, y and z: [2, 2, 2.5]"
    if not process.casts:
        return f"shrinkage = 0  # percent; services often allow for it themselves; {axes}\n"
    known = find_metal(metal)
    usual = None if known is None else casting_shrinkage(known)
    if known is None or usual is None:
        return f"# shrinkage = 2  # percent, not known of this metal: ask for it; {axes}\n"
    return f"shrinkage = {100.0 * usual:g}  # percent, usual of {known.name}; {axes}\n"


def _sprues(process: Process) -> list[str]:
    """Sprues, which a design starts without."""
    if not process.casts:
        return []
    usual = Sprues()
    if process.assembled:
        when = "Channels for the metal, if the caster does not put them on: take away the # of these."
    else:
        when = 'With another layout than "flat sheet", channels for the metal: take away the # of these.'
    lines = _SPRUES.substitute(
        when=when,
        feed=f"{usual.feed:g}",
        length=_mm(usual.length),
        least=", the least" if process.assembled else "",
    )
    angle = [] if process.assembled else [_ANGLE.substitute(angle=f"{usual.angle:g}")]
    return [lines, *angle, _MAIN]


def _mm(length: float) -> str:
    return quoted(format_mm(length, 6))

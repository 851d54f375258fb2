"""Whether what is sent suits casting: its metal, shrinkage, rubber moulds, cuts and room of rings, sprues."""

from collections import Counter

from chaingen.design.service import Layout, Route, Service, Sprues
from chaingen.model.open_ring import can_open, narrowest_cut
from chaingen.prepare.cast import cast_size
from chaingen.prepare.sent import Sent, ServiceCheck, State, listed, model_word, state_of
from chaingen.solve.check import ALIKE, ROUND_OFF
from chaingen.stock.metals import Metal
from chaingen.stock.processes import PROCESSES
from chaingen.units import format_mm

FEEDS = 0.7, 1.5
"""A feeder's section over that of its wire, least and most: common practice."""

WAX = PROCESSES["wax pattern for casting"]
"""The process by which loose rings are built too, one by one: ends nearer than its gap fuse likewise."""


def castable(piece: Sent, service: Service) -> list[ServiceCheck]:
    """What is cast is metal: the colour of a coloured wire lies on what was drawn."""
    coloured = [metal for metal in piece.metals_made if metal.under]
    if not service.process.casts or not coloured:
        return []
    names = listed([metal.name for metal in coloured])
    one = len(coloured) == 1
    text = f"{names} {'is a coloured wire' if one else 'are coloured wires'}, and cannot be cast"
    return [ServiceCheck("metal", State.FAIL, text, piece.bodies_of(coloured))]


def one_metal(piece: Sent, service: Service) -> list[ServiceCheck]:
    """What is cast in one piece is of one metal, and what is made in one piece shrinks alike.

    A print of several metals that shrink alike can be made, but is of one material.
    """
    used = piece.metals_made
    bases = list(dict.fromkeys(metal.base for metal in used))
    like: dict[Metal, object] = {metal: service.stretch(metal) for metal in used}
    text = f"{listed([metal.name for metal in used])} shrink differently, and are made in one piece"
    if service.process.casts and len(bases) > 1:
        like = {metal: metal.base for metal in used}
        text = f"a casting in one piece is of one metal, and this one is of {listed(bases)}"
    count = Counter[object]()
    for metal in used:
        count[like[metal]] += len(piece.bodies_of([metal]))
    (most, _), *others = count.most_common()
    if not others:
        return _one_material(piece, service)
    odd = piece.bodies_of([metal for metal in used if like[metal] != most])
    return [ServiceCheck("one metal", State.FAIL, text, odd)]


def _one_material(piece: Sent, service: Service) -> list[ServiceCheck]:
    names = [metal.name for metal in piece.metals_made]
    if service.process.casts or len(names) == 1:
        return []
    text = f"a print is of one, which the service tells, and this piece is of {listed(names)}"
    return [ServiceCheck("one material", State.WARN, text)]


def shrinkage(piece: Sent, service: Service) -> list[ServiceCheck]:
    """Whether it is known how much each metal shrinks."""
    unknown = [metal for metal in piece.metals_made if service.shrinks(metal) is None]
    if not unknown:
        return []
    names = listed(list(dict.fromkeys(metal.base for metal in unknown)))
    text = f"that of {names} is not known, and nothing is allowed for it: say it in the design"
    return [ServiceCheck("shrinkage", State.WARN, text, piece.bodies_of(unknown))]


def mould(piece: Sent, service: Service) -> list[ServiceCheck]:
    """Whether waxes come out of a rubber mould: linked parts are caught in it and in one another.

    A comb or a tree is one body with its rings, which the rubber fills.
    """
    if service.route is not Route.RUBBER_MOULD:
        return []
    parts = int(piece.cluster.max()) + 1
    if not service.process.assembled and service.layout is not Layout.FLAT:
        text = (
            f"a {service.layout.value} is one body of many rings, which does not come out of it: mould rings "
            f"by themselves, layout {Layout.FLAT.value}, and put their waxes on sprues"
        )
        check = ServiceCheck("rubber mould", State.FAIL, text)
    elif not service.process.assembled:
        check = ServiceCheck("rubber mould", State.PASS, "it is made of rings by themselves")
    elif parts == 1:
        check = ServiceCheck("rubber mould", State.PASS, "it is made of one part")
    else:
        text = f"{parts:,} parts that are not one do not come out of it: weld them, or cast loose rings"
        check = ServiceCheck("rubber mould", State.FAIL, text)
    return [check]


def cut(piece: Sent, service: Service) -> list[ServiceCheck]:
    """How near the ends of an open ring are to one another: at the inside, or where they pass."""
    if service.cut == service.opened == 0.0:
        text = (
            "rings are cast closed: every ring that is to be opened must be sawn; as they are they serve as "
            "soldered rings"
        )
        return [ServiceCheck("cut", State.WARN, text)]
    worst: tuple[float, int] | None = None
    for body, size in piece.sizes_made():
        cast = cast_size(size, service.finishing)
        if not can_open(cast, service.cut, service.opened):
            text = f"{piece.called(body)} cannot be opened so: its ends run into one another, or it is none"
            return [ServiceCheck("cut", State.FAIL, text, (body,))]
        between = narrowest_cut(cast, service.cut, service.opened) * float(piece.stretch[body].min())
        if worst is None or between < worst[0] - ALIKE:
            worst = between, body
    if worst is None:
        return []
    between, body = worst
    least = WAX.least_gap
    fuses = between < least - ROUND_OFF
    what = f"ends come to {format_mm(between)} from one another in the {model_word(service)}"
    at = f"{what} ({piece.called(body)})"
    text = f"{at}, and may fuse where it is less than {format_mm(least)}" if fuses else at
    return [ServiceCheck("cut", State.WARN if fuses else State.PASS, text, (body,))]


def spacing(piece: Sent, service: Service) -> ServiceCheck:
    """How far from one another loose rings are sent: what is too near may fuse."""
    asked, least = service.spacing * float(piece.stretch[piece.made].min()), WAX.least_gap
    fuses = asked < least - ROUND_OFF
    what = f"rings are laid {format_mm(asked)} or more from one another in the {model_word(service)}"
    usual = f"may fuse where that is less than {format_mm(least)} (common practice)"
    text = f"{what}, and {usual}" if fuses else what
    return ServiceCheck("spacing", state_of(False, fuses), text)


def sprues(piece: Sent, service: Service) -> list[ServiceCheck]:
    """How thick feeders and main are against one another and the wires, where there are any."""
    process, own = service.process, service.sprues
    if not process.casts or (own is None if process.assembled else service.layout is Layout.FLAT):
        return []
    own = own or Sprues()
    least, most = FEEDS
    odd = not least <= own.feed <= most
    usual = f"{least:g} to {most:g} is common practice"
    wire = 2.0 * float(piece.cast.wire_radii[piece.made].max())
    main, feeder = own.main_diameter(wire), own.feeder(wire)
    sizes = f"{format_mm(feeder)} for the thickest wire, {format_mm(wire)}, both as cast"
    feed = f"a feeder's section is {own.feed:g} of its wire's ({sizes}){', and' if odd else ';'} {usual}"
    thin = main <= feeder
    if thin:
        text = (
            f"{format_mm(main)}, and the thickest feeder {format_mm(feeder)}: a main is thicker than what "
            "it feeds"
        )
    else:
        text = f"{format_mm(main)}, thicker than the thickest feeder, {format_mm(feeder)}"
    return [
        ServiceCheck("feed", state_of(False, odd), feed),
        ServiceCheck("main", state_of(thin, False), text),
    ]

"""The command `mandrel`."""

import json
from typing import TYPE_CHECKING, Any

import click

from chaingen.cli.app import JSON, length_of, print_table, say

if TYPE_CHECKING:
    from chaingen.design.bench import Bench, Trial
    from chaingen.make.forming import MandrelChoice, Spring

NEAREST_OF_SET = 2
"""Mandrels of each known set that are told when no mandrel is named: mostly one below and one above."""


@click.command()
@click.option("--inside", required=True, help='Inside diameter of the finished ring, such as "5 mm".')
@click.option("--wire", required=True, help='Its wire, such as "18 AWG" or "1 mm".')
@click.option("--metal", required=True, help='Its metal, such as "sterling silver".')
@click.option("--temper", help='Temper of the wire, such as "half hard"; the usual one when left out.')
@click.option("--youngs-modulus", type=float, help="Young's modulus in GPa, before that of the table.")
@click.option("--yield-strength", type=float, help="Yield strength in MPa, before that of the table.")
@click.option("--trial", help='A trial coil of this wire: its mandrel and its inside, "5 mm, 5.2 mm".')
@click.option("--mandrels", help='Mandrels at hand: sets and diameters, "knitting needles, 3.25 mm".')
@click.option("--cut", type=click.Choice(["saw", "flush"]), default="saw", show_default=True)
@click.option(
    "--kerf", help='What a cut takes of the wire, such as "0.25 mm", or a saw blade, such as "4/0".'
)
@JSON
def mandrel(
    inside: str,
    wire: str,
    metal: str,
    temper: str | None,
    youngs_modulus: float | None,
    yield_strength: float | None,
    trial: str | None,
    mandrels: str | None,
    cut: str,
    kerf: str | None,
    as_json: bool,
) -> None:
    """Say what to wind a ring on, so that it has its inside diameter once it sprang open, was cut and closed.

    Exit code 1 says that wire this springy makes no such ring on any mandrel.
    """
    from chaingen.design.bench import Bench, CutWay, WireData
    from chaingen.make.mandrels import kerf_of, mandrel_wanted
    from chaingen.tables import INSIDE_LIMITS

    ring = length_of("--inside", inside, *INSIDE_LIMITS)
    thick = _wire(wire)
    known = WireData(
        temper,
        _figure("--youngs-modulus", youngs_modulus, 1.0, 1000.0, "GPa"),
        _figure("--yield-strength", yield_strength, 1.0, 5000.0, "MPa"),
    )
    bench = Bench(
        cut=CutWay.SAW if cut == "saw" else CutWay.FLUSH,
        kerf=None if kerf is None else _kerf(kerf, cut),
    )
    name, spring = _spring(metal, known, None if trial is None else _trial(trial, thick))
    lost, assumed = kerf_of(thick, bench)
    wanted = mandrel_wanted(ring, thick, lost, spring)
    choices = _nearest(ring, thick, lost, spring, mandrels)
    if as_json:
        data = _data(ring, thick, name, spring, wanted, choices) | {"kerf_mm": lost, "kerf_assumed": assumed}
        say(json.dumps(data, indent=2))
    else:
        _tell(ring, thick, name, spring, wanted, choices, _kerf_words(lost, assumed, bench))
    if wanted is None:
        raise click.exceptions.Exit(1)


def _wire(text: str) -> float:
    from chaingen.errors import BadInput, Problem
    from chaingen.stock.gauges import parse_wire
    from chaingen.tables import WIRE_LIMITS
    from chaingen.units import UnreadableLength, format_mm

    low, high = WIRE_LIMITS
    try:
        value = parse_wire(text)
    except UnreadableLength as error:
        raise BadInput([Problem("--wire", repr(text), str(error))]) from None
    if not low <= value <= high:
        raise BadInput([Problem("--wire", repr(text), f"{format_mm(low)} to {format_mm(high)}")])
    return value


def _kerf(text: str, cut: str) -> float:
    from chaingen.errors import BadInput, Problem
    from chaingen.stock.saws import BLADES

    if text.strip() not in BLADES:
        return length_of("--kerf", text, 0.0, 5.0)
    if cut == "flush":
        expected = 'what a cut takes, such as "0.5 mm": flush cutters have no saw blade'
        raise BadInput([Problem("--kerf", repr(text), expected)])
    return BLADES[text.strip()]


def _figure(option: str, value: float | None, low: float, high: float, unit: str) -> float | None:
    from chaingen.errors import BadInput, Problem

    # Not a number is not between them either.
    if value is not None and not low <= value <= high:
        raise BadInput([Problem(option, f"{value:g}", f"{low:g} to {high:g} {unit}")])
    return value


def _trial(text: str, wire: float) -> "Trial":
    from chaingen.design.bench import Trial
    from chaingen.errors import BadInput, Problem
    from chaingen.stock.mandrels import MANDREL_LIMITS

    parts = text.split(",")
    if len(parts) != 2:
        expected = 'the mandrel and the inside of the coil off it, such as "5 mm, 5.2 mm"'
        raise BadInput([Problem("--trial", repr(text), expected)])
    wound_on, inside = (length_of("--trial", part, *MANDREL_LIMITS) for part in parts)
    return Trial(None, None, wire, wound_on, inside)


def _spring(text: str, data: Any, trial: "Trial | None") -> "tuple[str, Spring]":
    """The metal's name, and how its wire springs."""
    from dataclasses import replace

    from chaingen.errors import BadInput, Problem
    from chaingen.make.mandrels import NoTemper, spring_from
    from chaingen.make.springback import calibration
    from chaingen.stock.metals import find_metal, metal_names, nearest_metal
    from chaingen.stock.tempers import find_temper, tempers_of

    metal = find_metal(text)
    if metal is None:
        near = nearest_metal(text)
        advice = f"did you mean {near}?" if near else ""
        raise BadInput([Problem("--metal", repr(text), f"one of {', '.join(metal_names())}", advice)])
    if data.temper is None:
        # Titanium goes by its grade, which its name may say.
        said = " ".join(text.lower().split()).removeprefix(metal.name).strip()
        data = replace(data, temper=said if find_temper(metal.name, said) else None)
    try:
        spring = spring_from(metal.name, data)
    except NoTemper as error:
        keys = {"youngs_modulus": "--youngs-modulus", "yield_strength": "--yield-strength"}
        where = "--metal" if data.temper is None else "--temper"
        raise BadInput([error.problem(where, keys)]) from None
    if spring is None:
        known = ", ".join(name for name in metal_names() if tempers_of(name))
        expected = f"a metal whose wire is known ({known}), or --youngs-modulus and --yield-strength too"
        raise BadInput([Problem("--metal", metal.name, expected)])
    if trial is not None:
        try:
            spring = replace(spring, calibration=calibration(trial, spring))
        except ValueError as error:
            got = f"inside {trial.inside:g} mm off a mandrel of {trial.mandrel:g} mm"
            raise BadInput([Problem("--trial", got, str(error))]) from None
    return metal.name, spring


def _nearest(
    inside: float, wire: float, kerf: float, spring: "Spring", named: str | None
) -> "list[MandrelChoice]":
    """The nearest mandrels at hand, or the nearest ones of every known set."""
    from chaingen.errors import BadInput, Problem
    from chaingen.make.mandrels import nearest_mandrels
    from chaingen.stock.mandrels import UnreadableMandrel, mandrel_sets, read_mandrels

    if named is not None:
        try:
            at_hand = read_mandrels(part for part in named.split(","))
        except UnreadableMandrel as error:
            raise BadInput([Problem("--mandrels", repr(error.text.strip()), str(error))]) from None
        return list(nearest_mandrels(inside, wire, kerf, spring, at_hand))
    found = [
        choice
        for mandrels in mandrel_sets().values()
        for choice in nearest_mandrels(inside, wire, kerf, spring, mandrels, NEAREST_OF_SET)
    ]
    return sorted(found, key=lambda choice: abs(choice.inside - inside))


def _data(
    inside: float,
    wire: float,
    metal: str,
    spring: "Spring",
    wanted: float | None,
    choices: "list[MandrelChoice]",
) -> dict[str, Any]:
    return {
        "format": "chaingen mandrel",
        "version": 1,
        "inside_diameter_mm": round(inside, 6),
        "wire_diameter_mm": round(wire, 6),
        "metal": metal,
        "temper": spring.temper,
        "temper_assumed": spring.assumed,
        "youngs_modulus_gpa": spring.youngs_modulus,
        "yield_strength_mpa": spring.yield_strength,
        "source": spring.source,
        "calibration": round(spring.calibration, 6),
        "mandrel_mm": None if wanted is None else round(wanted, 6),
        "nearest": [
            {
                "name": choice.name,
                "diameter_mm": round(choice.diameter, 6),
                "inside_diameter_mm": round(choice.inside, 6),
            }
            for choice in choices
        ],
    }


def _kerf_words(kerf: float, assumed: bool, bench: "Bench") -> str:
    from chaingen.units import format_mm

    how = f", taken for granted with {'a saw' if bench.cut.value == 'saw' else 'flush cutters'}"
    return f"{format_mm(kerf)} lost to each cut{how if assumed else ''}"


def _tell(
    inside: float,
    wire: float,
    metal: str,
    spring: "Spring",
    wanted: float | None,
    choices: "list[MandrelChoice]",
    kerf: str,
) -> None:
    from chaingen.stock.gauges import describe_wire
    from chaingen.units import format_mm

    usual = " (taken for granted: the usual one for rings)" if spring.assumed else ""
    say(f"{describe_wire(wire)} {metal}, {spring.temper}{usual}")
    say(
        f"Young's modulus {spring.youngs_modulus:g} GPa, yield strength {spring.yield_strength:g} MPa: "
        f"{spring.source}"
    )
    if spring.calibration != 1.0:
        say(f"Springs {spring.calibration:.3g} times as much as computed, by the trial coil")
        if spring.is_odd:
            say("That is far from what such wire does: measure again, and look at metal and temper.")
    ring = f"rings of {format_mm(inside)} inside, cut and closed, with {kerf}"
    if wanted is None:
        say(f"No mandrel makes {ring}: wire this springy opens too far")
    else:
        say(f"Wind on a mandrel of {format_mm(wanted, 2)} for {ring}")
    rows = [
        [choice.name, format_mm(choice.inside, 2), f"{choice.inside - inside:+.2f} mm"] for choice in choices
    ]
    if rows:
        print_table("Nearest mandrels", ["mandrel", "ring inside", "off by"], rows, narrow=3)
    say("An estimate: wind a few turns, measure them, and tell with --trial how far this wire opens.")
    say("Hold both ends of the wire while winding springy wire, and protect your eyes when cutting.")

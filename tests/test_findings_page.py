"""The page of findings is what the program says today, and its pictures show every kind."""

import inspect
import re
import tomllib

import numpy as np
import pytest
from PIL import Image

from chaingen.design.finding_schema import TABLES
from chaingen.design.load import parse_design
from chaingen.errors import BadInput
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.finding import eye_centre
from chaingen.geometry.bodies import wire_points
from chaingen.show.finding_page import findings_page, key_table, picture_name
from chaingen.show.finding_picture import (
    BETWEEN,
    PIXELS,
    SCALE,
    SHEET_ROWS,
    SHEET_WIDTH,
    draw_finding,
    findings_look,
    laid_out,
    posed,
)
from chaingen.show.finding_samples import EXAMPLES, samples
from chaingen.stock.gauges import parse_wire
from chaingen.units import parse_length
from tests.finding_sizes import wire_faults
from tests.test_examples import ROOT

PAGE = ROOT / "renders" / "findings"
BUILDERS = [kind for kind in KINDS if kind not in ("head pin", "wire path")]


def section(kind):
    """What the page says of a kind."""
    text = (PAGE / "README.md").read_text(encoding="utf-8")
    (found,) = (part for part in re.split(r"^## ", text, flags=re.MULTILINE) if f"`{kind}` is " in part)
    return found


def test_the_page_is_current():
    assert (PAGE / "README.md").read_text(encoding="utf-8") == findings_page()


def test_the_page_is_small():
    assert sum(path.stat().st_size for path in PAGE.glob("*.png")) < 1_500_000


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_picture(kind):
    with Image.open(PAGE / picture_name(kind)) as picture:
        assert picture.size == (PIXELS[0] // 2, PIXELS[1] // 2)
        light = np.asarray(picture.convert("L")).astype(int)
    # Metal is darker than paper; it is there, clear of the border, and fills the frame one way.
    rows, columns = np.nonzero(light[:-45] < 190)
    assert len(rows) > 3000
    wide, high = np.ptp(columns) / light.shape[1], np.ptp(rows) / light.shape[0]
    assert max(wide, high) > 0.6
    assert 10 < columns.min() < columns.max() < light.shape[1] - 10
    assert 10 < rows.min() < rows.max() < light.shape[0] - 42
    assert f"({picture_name(kind)})" in section(kind)


def test_beads_are_coloured_in_pictures():
    """A palette must not spend its colours on paper."""
    for name in (picture_name("head pin"), "all.png"):
        with Image.open(PAGE / name) as picture:
            red, green, blue = np.moveaxis(np.asarray(picture.convert("RGB")).astype(int), -1, 0)
        assert (green - red > 40).sum() > 400, "sea green"
        assert (red - blue > 80).sum() > 200, "amber"
        assert (np.minimum(np.minimum(red, green), blue) > 225).any(), "white"


def test_there_is_a_sheet_of_all():
    with Image.open(PAGE / "all.png") as picture:
        assert picture.size[0] == SHEET_WIDTH
        assert picture.size[1] == laid_out(samples())[2]
    assert "(all.png)" in findings_page()


def test_samples_are_of_every_kind_and_can_be_made():
    assert tuple(finding.kind for finding in samples()) == finding_kinds()
    for finding in samples():
        assert not wire_faults(finding.shape), finding.kind
    (pin,) = (finding for finding in samples() if finding.kind == "head pin")
    assert {bead.form for bead in pin.beads} == {"ball", "disc", "rondelle"}


@pytest.mark.parametrize("kind", EXAMPLES)
def test_examples_on_the_page_are_parts_of_designs(kind):
    """Put into a design file as they stand, and hung on a ring."""
    text = EXAMPLES[kind]
    assert text in section(kind)
    (name,) = tomllib.loads(text)["findings"]
    head = 'title = "Bench"\nmetal = "brass"\n[rings.link]\ninside = "4 mm"\nwire = "1 mm"\n'
    end = f'[ends.end]\nfinding = "{name}"\n[pattern]\nrepeat = 2\ngroups = [{{ side_by_side = 1 }}]\n'
    design = parse_design(head + text + end)
    (sample,) = (finding for finding in samples() if finding.kind == kind)
    assert design.findings == (sample,)
    with pytest.raises(BadInput, match="kind"):
        parse_design(head + text.replace(f'kind = "{kind}"', 'kind = "loop"') + end)


def test_the_hourglass_closes_and_its_waist_holds_rings():
    """Closed form: arcs of radius a at the waist and b round the loops, 45 degrees of the first each side."""
    (link,) = (finding for finding in samples() if finding.kind == "wire path")
    a, b, wire, root = 2.5, 2.25, 1.0, np.sqrt(0.5)
    low, high = link.shape.box
    assert high - low == pytest.approx([2.0 * ((a + b) * root + b) + wire, 2.0 * b + wire, wire])
    (cut,) = link.cutting_list
    assert cut.length == pytest.approx(np.pi * a + 3.0 * np.pi * b)
    # From one loop to the other nothing as thick as its own wire gets through.
    points, _, _ = wire_points(posed(link), 4000)
    waist = points[np.abs(points[:, 0]) < 1e-2, 1]
    assert 2.0 * np.abs(waist).min() - wire == pytest.approx(2.0 * ((a + b) * root - a) - wire, abs=1e-3)
    assert 2.0 * np.abs(waist).min() - wire < wire


@pytest.mark.parametrize("kind", BUILDERS)
def test_sizes_on_the_page_make_what_it_tells_of(kind):
    """Sizes typed off the page make the finding in its picture; of its cuts the page tells the lengths."""
    said = {name.strip("`"): default for name, default, _ in key_table(kind)}
    assert list(said) == [key for key in TABLES[kind].model_fields if key not in ("kind", "metal")]
    parameters = inspect.signature(KINDS[kind].build).parameters
    assert set(said) == set(parameters) - {"name"}
    sizes = {}
    for key, default in said.items():
        own = parameters[key].default
        if own is None:
            assert default == ""
        elif isinstance(own, bool):
            sizes[key] = {"true": True, "false": False}[default]
        elif isinstance(own, int | str):
            sizes[key] = type(own)(default)
        elif default.endswith("mm"):
            sizes[key] = (parse_wire if "wire" in key else parse_length)(default)
        else:
            sizes[key] = float(default)
    made = KINDS[kind].build(kind, **sizes)
    (sample,) = (finding for finding in samples() if finding.kind == kind)
    assert made == sample
    told = section(kind)
    for cut in made.cutting_list:
        assert re.search(rf"{cut.length:.1f}".removesuffix(".0") + r"( mm|\.0 mm) of ", told)


def test_choices_have_their_default():
    rows = {name: default for name, default, _ in key_table("wire path")}
    assert (rows["`eyes.end`"], rows["`eyes.opened_by`"], rows["`steps.direction`"]) == (
        "inner",
        "pliers",
        "0",
    )
    assert rows["`steps`"] == rows["`eyes.name`"] == "must be said"
    rows = {name: default for name, default, _ in key_table("head pin")}
    assert (rows["`beads.hole`"], rows["`beads.colour`"], rows["`turns`"]) == ("1 mm", "sea green", "2")
    assert rows["`beads.form`"] == "must be said"
    assert rows["`beads`"] == rows["`head_size`"] == ""


def test_what_is_worn_hangs_and_the_rest_lies():
    """What takes the piece is at the left; below on what is worn in the ear, above on a pin."""
    for finding in samples():
        body = posed(finding)
        eyes = [eye_centre(finding.shape.eyes[k]) for k in finding.inner]
        low, high = body.bounds()
        right, up, _ = np.mean(eyes, axis=0) @ body.frames()[0] - 0.5 * (low + high)
        if finding.inner == finding.outer:
            assert (right, up) == pytest.approx((0.0, 0.0))
        elif finding.kind.startswith("ear"):
            assert up < -0.5
        elif finding.kind == "head pin":
            assert up > 0.5
        else:
            assert right < -0.5


def test_the_sheet_keeps_all_apart_and_in_frame():
    bodies, spots, height = laid_out(samples())
    low, high = bodies.extents()
    left, right = SCALE * low[:, 0], SCALE * high[:, 0]
    top, bottom = -SCALE * high[:, 1], -SCALE * low[:, 1]
    assert left.min() > 20.0
    assert right.max() < SHEET_WIDTH - 20.0
    assert top.min() == pytest.approx(BETWEEN, abs=1e-6)
    first = 0
    for count in SHEET_ROWS:
        row = slice(first, first + count)
        assert (left[row][1:] - right[row][:-1] > 30.0).all()
        # A label stands below its own, above the next row.
        for k in range(first, first + count):
            assert spots[k][0] == pytest.approx(0.5 * (left[k] + right[k]))
            assert bottom[row].max() < spots[k][1] < height
        if first:
            assert top[row].min() > max(spot[1] for spot in spots[:first]) + 10.0
        first += count


def test_beads_have_their_colours():
    look = findings_look(samples())
    (at,) = (k for k, finding in enumerate(samples()) if finding.beads)
    for bead in samples()[at].beads:
        assert look.bead_colour(at, bead.part) == bead.colour
    assert len({bead.colour for bead in samples()[at].beads}) == 3


def test_drawing_a_finding(tmp_path):
    (ring,) = (finding for finding in samples() if finding.kind == "closed ring")
    path = draw_finding(ring, tmp_path / "ring.png")
    with Image.open(path) as picture:
        assert picture.size == PIXELS
        light = np.asarray(picture.convert("L")).astype(int)
    rows, columns = np.nonzero(light[:-90] < 190)
    # Seen a little from above a ring is as wide as it is, and in the middle.
    assert 0.5 * (columns.min() + columns.max()) == pytest.approx(0.5 * PIXELS[0], abs=6)
    slant = 1.0 / np.hypot(1.0, 0.3)
    outer, wire = 6.0, 1.0
    ratio = ((outer - wire) * slant + wire) / outer
    assert np.ptp(rows) / np.ptp(columns) == pytest.approx(ratio, abs=0.02)

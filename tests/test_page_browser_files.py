"""What is taken away from the page: models reopened by trimesh, pictures, the maker's sheet, a zip of all."""

import io
import zipfile

import numpy as np
import pytest
import trimesh
from PIL import Image

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from tests.page_driver import chromium, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("two-in-one", repeat=4, title="Net loft bracelet")
TOLERANCE = 0.02
"""Farthest that what is in a model may lie from the wires [mm]; models are told to be within half of it."""


@pytest.fixture(scope="module")
def made(server, tmp_path_factory):
    """The page once all its files are made, the result that the package gives by itself, and a folder."""
    folder = tmp_path_factory.mktemp("files")
    with chromium() as browser, visiting(browser, server, size=(900, 700)) as visit:
        visit.open()
        visit.write(TEXT)
        visit.settled()
        visit.make_files()
        yield visit, build(parse_design(TEXT)), folder


def bounds_of(result):
    return np.array(result.placement.rings.bounds())


def test_stl(made):
    visit, result, folder = made
    path = visit.download("models/", ".stl", folder)
    mesh = trimesh.load(path)
    assert mesh.is_watertight
    assert mesh.body_count == len(result.placement.graph)
    assert mesh.bounds == pytest.approx(bounds_of(result), abs=TOLERANCE)


@pytest.mark.parametrize("suffix", [".3mf", ".glb"])
def test_models_of_bodies(made, suffix):
    visit, result, folder = made
    scene = trimesh.load_scene(visit.download("models/", suffix, folder))
    if suffix == ".glb":
        # glTF is in metres, its y upwards.
        scene.apply_transform([[1000, 0, 0, 0], [0, 0, -1000, 0], [0, 1000, 0, 0], [0, 0, 0, 1]])
    bodies = scene.dump()
    assert len(bodies) == len(result.placement.graph)
    for body in bodies:
        body.merge_vertices(merge_tex=True, merge_norm=True)
        assert body.is_watertight
    expected = bounds_of(result)
    if suffix == ".3mf":
        # Moved to where all of it is positive, as 3MF asks.
        assert (scene.bounds >= 0.0).all()
        expected = expected - expected[0] + scene.bounds[0]
    assert scene.bounds == pytest.approx(expected, abs=TOLERANCE)


def test_picture(made):
    visit, _, folder = made
    with Image.open(visit.download("pictures/", ".png", folder)) as picture:
        pixels = np.asarray(picture.convert("RGB"), dtype=int)
    assert picture.width == 1600
    background = pixels[0, 0]
    assert (np.abs(pixels - background).max(axis=2) > 30).mean() > 0.01


def test_sheet_opens_in_a_tab_of_its_own(made):
    visit, result, _ = made
    with visit.page.expect_popup() as opened:
        visit.file_link("sheet.html").click()
    sheet = opened.value
    sheet.wait_for_load_state()
    assert "Net loft bracelet" in sheet.inner_text("h1")
    assert str(result.counts[0].count) in sheet.inner_text("body")
    assert sheet.url.startswith(visit.server.address)
    sheet.close()


def test_zip_holds_all(made):
    visit, _, folder = made
    path = visit.download_all(folder)
    listed = visit.files_listed()
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as packed:
        assert packed.testzip() is None
        names = {name for name in packed.namelist() if not name.endswith("/")}
    assert listed
    assert {name for name in names if name.endswith((".stl", ".3mf", ".glb", ".obj"))}
    # All that is listed by itself is in it, whatever folder the zip puts before it.
    tails = {name.split("/", 1)[-1] for name in names} | names
    assert set(listed) <= tails


def test_what_is_saved_is_the_text(made):
    visit, _, folder = made
    path = visit.save(folder)
    assert path.suffix == ".toml"
    assert path.read_bytes().decode() == TEXT

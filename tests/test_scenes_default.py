"""Scenes that say no circumference go round what the piece is made for."""

import pytest

from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design


@pytest.mark.parametrize(("kind", "own"), [("wrist", "165 mm"), ("neck", "380 mm")])
def test_a_scene_takes_the_measure_of_the_pattern(kind, own):
    text = starter_design("one-in-one", length=own).replace("length = ", f"{kind} = ")
    other = {"wrist": "neck", "neck": "wrist"}[kind]
    scenes = (
        f'[{{ kind = "{kind}" }}, {{ kind = "{other}" }}, {{ kind = "{kind}", circumference = "170 mm" }}]'
    )
    found = parse_design(text.replace("scenes = []", f"scenes = {scenes}")).scenes
    assert [scene.circumference for scene in found] == [float(own.removesuffix(" mm")), None, 170.0]

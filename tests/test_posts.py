import numpy as np
import pytest

from chaingen.design.scene import Scene, SceneKind
from chaingen.findings.pins import ear_post
from chaingen.solve.drape.drape import drape
from chaingen.solve.drape.posts import hang_by_post, post_of
from chaingen.solve.drape.rows import straight_row
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import side, size


@pytest.fixture(scope="module")
def earring():
    stud = Group(GroupKind.FINDING, 1, ear_post(eye_inside=2.0), True)
    piece = Run((side(1, size(4.0, 1.0)),), repeat=4, first=(stud,))
    placement = place(piece)
    assert placement.answer is Answer.FITS
    return piece, placement


def test_a_post_starts_level_and_between_the_sides_of_its_hole(earring):
    piece, placement = earring
    row = straight_row(piece, placement, left=None)
    body, post, wire = post_of(row)
    start = hang_by_post(row, np.ones(len(row.rings)))
    frame = start.rings.frames()[body]
    back = np.array(post.direction) @ frame
    np.testing.assert_allclose(back, [0.0, 1.0, 0.0], atol=1e-9)
    below, above = (solid.numbers[:3] for solid in start.solids)
    middle = start.rings.centres[body] + np.array(post.begin) @ frame
    assert below[2] < middle[2] - wire
    assert above[2] > middle[2] + wire
    # What is in front weighs down on the one below, so that the one above lies farther back.
    assert middle[1] < below[1] < above[1] < middle[1] + post.length


def test_other_rows_have_no_post():
    piece = Run((side(1, size(4.0, 1.0)),), repeat=3)
    assert post_of(straight_row(piece, place(piece), left=None)) is None


@pytest.mark.slow
def test_an_earring_hangs_by_its_post(earring):
    piece, placement = earring
    draped = drape(piece, placement, Scene(SceneKind.HANG))
    assert draped.reached
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    # Both sides together carry the weight, one of them from above.
    assert draped.support == pytest.approx(1.0, abs=1e-3)
    # The rings hang under the front of the post, the post stays nearly level.
    post = ear_post(eye_inside=2.0).shape.strands[0].curves[0]
    assert abs((np.array(post.direction) @ draped.rings.frames()[0])[2]) < 0.1
    assert (draped.rings.centres[1:, 2] < draped.rings.centres[0, 2]).all()

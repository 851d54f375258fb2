import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.geometry.arrangement import hand, plane_between
from chaingen.geometry.packing import EQUAL_DISCS, ROUNDING
from chaingen.solve.check import check
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.search import solve_cell
from chaingen.solve.sizes import tightest
from chaingen.weave.graph import cell_graph, row_graph
from chaingen.weave.groups import Run
from tests.conftest import AWG_16, AWG_18, join, rosette, side, size

RING = size(4.0)


def ratio(cell, repeat=20):
    return dict(tightest(Run(cell, repeat)).aspect_ratios)["link"]


class TestTightest:
    """Closed forms (derived: the packing bound is met by a placement)."""

    def test_two_linked_rings(self):
        assert ratio((side(1, RING), side(1, RING)), repeat=1) == pytest.approx(1.0, rel=0.01)

    def test_single_chain(self):
        assert ratio((side(1, RING),)) == pytest.approx(2.0, rel=0.01)

    def test_two_and_one_chain(self):
        assert ratio((side(2, RING), join(1, RING))) == pytest.approx(1.0 + np.sqrt(2.0), rel=0.01)

    def test_rosette_of_three(self):
        assert ratio((rosette(3, RING),), repeat=1) == pytest.approx(2.0, rel=0.01)


PATTERNS = [
    ((side(1, RING),), 20),
    ((side(2, RING),), 20),
    ((side(3, RING),), 20),
    ((side(2, RING), join(1, RING)), 20),
    ((side(3, RING), join(1, RING)), 20),
    ((side(3, RING), join(2, RING)), 20),
    ((rosette(3, RING), join(1, RING)), 20),
    ((rosette(3, RING), join(2, RING)), 20),
    ((rosette(4, RING), join(1, RING)), 20),
    *[((rosette(count, RING),), 1) for count in range(2, 9)],
]


@pytest.mark.parametrize(("cell", "repeat"), PATTERNS)
def test_never_below_the_packing_bound(cell, repeat):
    """n equal wires pass a ring only if its aspect ratio is at least rho_n (Graham, Lubachevsky, Nurmela,
    Ostergard 1998)."""
    graph = cell_graph(cell) if repeat > 1 else row_graph(cell)
    assert ratio(cell, repeat) >= EQUAL_DISCS[int(graph.degrees.max()) - 1] - ROUNDING - 1e-6


def test_unequal_wires_never_beat_the_unequal_bound():
    """Thick wires through a thin ring: the hole must hold two thick and two thin wires side by side."""
    from chaingen.geometry.packing import enclosing_bound

    thick, thin = size(5.0, 1.3, "thick"), size(4.0, 0.8, "thin")
    run = Run((side(2, thick), join(1, thin)), 20)
    tight = tightest(run)
    grown = {s.name: s.wire_radius * tight.thickening for s in (thick, thin)}
    holes = {s.name: s.radius - grown[s.name] for s in (thick, thin)}
    assert holes["thin"] >= enclosing_bound(np.array([grown["thick"]] * 4)) - 1e-6
    assert holes["thick"] >= enclosing_bound(np.array([grown["thin"]] * 2)) - 1e-6


class TestCommonPractice:
    """Sizes that makers use (common practice, no published source)."""

    @staticmethod
    def answer(*cell, repeat=20):
        return place(Run(cell, repeat)).answer

    def test_two_in_one_works_at_3_mm_18_gauge(self):
        ring = size(3.0)
        assert self.answer(side(2, ring), join(1, ring)) is Answer.FITS

    def test_two_in_two_is_tight_at_3_mm_and_comfortable_at_4_mm(self):
        from chaingen.solve.verdict import Fit, fit_of

        words = [fit_of(place(Run((side(2, size(inside)),), 20)).gap, AWG_18) for inside in (3.0, 4.0)]
        assert words == [Fit.TIGHT, Fit.COMFORTABLE]

    def test_three_in_three_is_made_at_5_mm(self):
        assert self.answer(side(3, size(5.0))) is Answer.FITS

    @pytest.mark.parametrize(("inside", "wire"), [(3.0, AWG_18), (4.0, AWG_18), (5.0, AWG_18), (5.5, AWG_16)])
    def test_rosette_of_three_works(self, inside, wire):
        assert self.answer(rosette(3, size(inside, wire)), repeat=1) is Answer.FITS

    @pytest.mark.parametrize("first", [(3.0, AWG_18), (4.0, AWG_18), (5.0, AWG_18), (5.5, AWG_16)])
    @pytest.mark.parametrize("second", [(3.0, AWG_18), (5.5, AWG_16)])
    def test_a_4_mm_18_gauge_ring_joins_any_two_of_these_rosettes(self, first, second):
        run = Run((rosette(3, size(*first, "one")), join(1, RING), rosette(3, size(*second, "two"))))
        assert place(run).answer is Answer.FITS


class TestAnswers:
    def test_fits_with_evidence(self):
        placement = place(Run((side(2, size(3.0)), join(1, size(3.0))), 10))
        assert placement.answer is Answer.FITS
        assert placement.proof is None
        assert placement.gap > 0.1
        search = placement.searches[0]
        assert search.agreed >= 3
        assert search.holding

    def test_cannot_fit_is_a_proof(self):
        """Four wires need 2.414 of their diameters; 2 mm rings of 18 AWG have 1.95."""
        placement = place(Run((side(2, size(2.0)), join(1, size(2.0))), 10))
        assert placement.answer is Answer.CANNOT_FIT
        assert placement.proof.wires == 4
        assert placement.proof.needed == pytest.approx((1.0 + np.sqrt(2.0)) * AWG_18, abs=1e-3)
        assert placement.proof.hole == pytest.approx(2.0)
        assert not check(placement.graph, placement.rings).sound

    def test_no_fit_found_is_not_called_impossible(self):
        """Aspect ratio 2.5 passes four wires (2.414) but two-in-two was never found under 2.62."""
        placement = place(Run((side(2, size(2.5 * AWG_18)),), 10))
        assert placement.answer is Answer.NO_FIT_FOUND
        assert placement.proof is None
        assert -0.1 < placement.gap < 0.0

    def test_an_end_without_convergence_is_called_that(self, monkeypatch):
        import chaingen.solve.search as module

        real = module.widen
        monkeypatch.setattr(module, "widen", lambda *a, **k: real(*a, **{**k, "most_steps": 1}))
        placement = place(Run((rosette(5, size(3.33)),), 1))
        assert placement.answer is Answer.NOT_CONVERGED

    def test_clearance_turns_a_fit_into_none(self):
        run = Run((side(2, size(3.0)), join(1, size(3.0))), 10)
        gap = place(run).gap
        assert place(run, clearance=gap - 0.005).answer is Answer.FITS
        assert place(run, clearance=gap + 0.005).answer is not Answer.FITS


def test_joins_in_pairs_do_not_cross_and_rosettes_have_a_hand():
    placement = place(Run((rosette(3, RING), join(2, RING)), 12))
    report = check(placement.graph, placement.rings)
    assert report.sound
    hands = set()
    pairs = []
    for arrangement in placement.graph.arrangements:
        members = np.array(arrangement.rings)
        if len(members) == 3:
            hands.add(hand(placement.rings[members]))
        else:
            pairs.append(members)
    assert hands in ({1}, {-1})
    assert plane_between(placement.rings, np.array(pairs)).all()


@pytest.mark.parametrize("count", range(2, 9))
def test_a_rosette_of_any_number(count):
    placement = place(Run((rosette(count, size(9.0)),)))
    assert placement.answer is Answer.FITS
    assert check(placement.graph, placement.rings).sound


def test_ends_and_junctions_of_unlike_groups_are_solved_too():
    run = Run(
        (side(2, RING), join(1, RING)),
        20,
        first=(side(1, size(6.0, name="top")), side(1, size(5.0, name="next"))),
        last=(side(2, RING), side(1, size(7.0, name="end"))),
    )
    placement = place(run)
    assert placement.answer is Answer.FITS
    assert [member.size.name for member in placement.graph.members][:2] == ["top", "next"]
    assert placement.graph.members[-1].size.name == "end"
    # The ends are not what binds: the piece is as open as its cell.
    assert placement.gap == pytest.approx(solve_cell(run.cell)[3], abs=1e-3)


@pytest.mark.parametrize(
    ("repeat", "cell"), [(24, (side(1, RING),)), (25, (side(1, RING),)), (20, (side(2, RING), join(1, RING)))]
)
def test_closed_loops_close(repeat, cell):
    placement = place(Run(cell, repeat, closed=True))
    assert placement.answer is Answer.FITS
    first, last = 0, len(placement.graph) - 1
    assert last in placement.graph.neighbours(first)
    assert placement.gap > 0.75 * solve_cell(cell)[3]


def test_a_loop_too_small_to_close_is_no_fit():
    placement = place(Run((side(2, size(3.0)),), 4, closed=True))
    assert placement.answer is not Answer.FITS


def test_long_rows_of_unlike_groups_are_grown():
    run = Run(tuple(side(2, size(4.0 + 0.05 * k, name=f"s{k}")) for k in range(40)))
    placement = place(run, starts=2)
    assert placement.answer is Answer.FITS
    assert len(placement.searches) > 3


def test_equal_input_gives_equal_output():
    run = Run((rosette(4, size(5.0)), join(1, RING)), 5)
    first = place(run, starts=3)
    solve_cell.cache_clear()
    second = place(run, starts=3)
    assert np.array_equal(first.rings.centres, second.rings.centres)
    assert np.array_equal(first.rings.normals, second.rings.normals)
    assert first.searches == second.searches


def test_scale_changes_nothing_but_the_scale():
    small = place(Run((rosette(3, size(4.0, 1.0)), join(1, size(4.0, 1.0))), 5))
    large = place(Run((rosette(3, size(8.0, 2.0)), join(1, size(8.0, 2.0))), 5))
    assert large.gap == pytest.approx(2.0 * small.gap, abs=4e-3)


def test_one_ring_alone():
    placement = place(Run((side(1, RING),)))
    assert placement.answer is Answer.FITS
    assert placement.gap == float("inf")


def test_the_regular_shape_is_kept_unless_the_clearance_needs_more():
    """A rosette of eight lies regularly though another shape is a little wider, unless that is asked for."""
    run = Run((rosette(8, size(8.0, AWG_16)),))
    regular = place(run)
    widest = max(regular.searches[0].gaps)
    assert 0.95 * widest <= regular.gap < widest
    asked = 0.5 * (regular.gap + widest)
    assert place(run, clearance=asked).answer is Answer.FITS


@pytest.mark.parametrize("repeat", range(3, 9))
def test_small_loops_of_wide_rings_close(repeat):
    """Three rings of a loop are each linked with each; four have their far neighbours close by."""
    placement = place(Run((side(1, size(8.0)),), repeat, closed=True))
    assert placement.answer is Answer.FITS


@pytest.mark.parametrize(
    "cell", [(side(2, size(8.0)), join(1, size(8.0))), (rosette(3, size(8.0)), join(1, size(8.0)))]
)
def test_a_loop_of_two_cells_closes(cell):
    assert place(Run(cell, 2, closed=True)).answer is Answer.FITS


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["side", "rosette"]), st.integers(1, 4), st.floats(1.6, 6.0), st.floats(0.5, 1.4)
        ),
        min_size=2,
        max_size=4,
    )
)
def test_a_proof_never_meets_a_placement(groups):
    """Random rows: whatever is placed soundly has no proof against it, and what fits passes the check."""
    kinds = {"side": side, "rosette": rosette}
    row = tuple(
        kinds[kind](max(count, 2 if kind == "rosette" else 1), size(wire * ratio, wire, f"s{k}"))
        for k, (kind, count, ratio, wire) in enumerate(groups)
    )
    placement = place(Run(row), starts=2)
    report = check(placement.graph, placement.rings)
    assert (placement.answer is Answer.FITS) == report.sound
    if report.sound:
        assert placement.proof is None
        assert placement.gap == pytest.approx(report.smallest_gap, abs=1e-9)


@pytest.mark.parametrize("inside", [6.0, 20.0])
def test_a_loose_plain_chain_by_hand(inside):
    """Next-but-one rings lie 2 p - 2 R apart, linked ones 2 R - p: best at p = 4 R / 3 (by hand)."""
    placement = place(Run((side(1, size(inside, 1.0)),), 20))
    assert placement.gap == pytest.approx((inside + 1.0) / 3.0 - 1.0, abs=1e-3)


def test_loops_too_long_to_be_searched_are_not_called_unfit():
    run = Run((side(2, size(2.9)),), 77, closed=True)
    placement = place(run)
    assert placement.answer is Answer.NOT_CONVERGED
    assert place(run.repeated(78)).answer is Answer.FITS


def test_a_junction_gets_its_room_from_the_groups_before_it():
    ring = size(4.0)
    run = Run((side(1, ring), side(2, ring), rosette(3, ring)), 3, last=(side(2, size(6.0, 1.2, "end")),))
    assert place(run).gap > 0.04

"""The linear program of a step, against scipy's `linprog` and the conditions of an optimum."""

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import random_array

from chaingen.solve.program import IDLE, best_step


def programs(rng, count):
    """Slopes, weights and values of programs with more rows than unknowns and with fewer."""
    for _ in range(count):
        rows, unknowns = rng.integers(1, 40, 2)
        slopes = random_array((rows, unknowns), density=0.4, format="csc", rng=rng)
        slopes.data = rng.normal(size=slopes.nnz)
        yield slopes, rng.uniform(0.5, 2.0, rows), rng.normal(size=rows)


def by_scipy(slopes, weight, value, trust, aim, worth, ceiling):
    """The same program, its unknowns x, how far each is from nothing, and t."""
    rows, n = slopes.shape
    dense, one, none = slopes.toarray(), np.eye(n), np.zeros((n, 1))
    answer = linprog(
        np.concatenate([-aim, np.full(n, IDLE), [-worth]]),
        A_ub=np.block(
            [[-dense, np.zeros((rows, n)), weight[:, None]], [one, -one, none], [-one, -one, none]]
        ),
        b_ub=np.concatenate([value, np.zeros(2 * n)]),
        bounds=[(-trust, trust)] * n + [(0.0, None)] * n + [(None, ceiling)],
        method="highs-ipm",
    )
    assert answer.status == 0
    return -answer.fun


@pytest.mark.parametrize("pulled", [False, True])
def test_best_against_another_method(rng, pulled):
    for slopes, weight, value in programs(rng, 30):
        aim = rng.normal(size=slopes.shape[1]) if pulled else np.zeros(slopes.shape[1])
        worth, ceiling = (20.0, 0.0) if pulled else (1.0, np.inf)
        step, t, _ = best_step(slopes, weight, value, 0.3, aim=aim, worth=worth, ceiling=ceiling)
        assert (np.abs(step) <= 0.3 + 1e-9).all()
        assert t <= ceiling
        assert (value + slopes @ step - weight * t).min() >= -1e-6
        reached = aim @ step + worth * t - IDLE * np.abs(step).sum()
        assert reached == pytest.approx(by_scipy(slopes, weight, value, 0.3, aim, worth, ceiling), abs=1e-6)


def test_multipliers_balance(rng):
    """They push only where a row holds, share what t is worth, and no unknown is left that would gain."""
    for slopes, weight, value in programs(rng, 30):
        step, t, forces = best_step(slopes, weight, value, 0.3)
        assert (forces >= -1e-9).all()
        assert forces @ weight == pytest.approx(1.0)
        slack = value + slopes @ step - weight * t
        assert np.abs(forces * slack).max() < 1e-7
        pull = slopes.T @ forces
        within = np.abs(step) < 0.3 - 1e-9
        assert (np.abs(pull[within]) <= IDLE + 1e-9).all()
        moved = within & (np.abs(step) > 1e-9)
        assert pull[moved] == pytest.approx(IDLE * np.sign(step[moved]), abs=1e-9)
        # What is at its bound is pushed there.
        assert (pull[~within] * np.sign(step[~within]) >= IDLE - 1e-9).all()


def test_what_nothing_asks_to_move_stays(rng):
    slopes = random_array((6, 8), density=0.5, format="csc", rng=rng).tolil()
    slopes[:, 3] = 0.0
    step, _, _ = best_step(slopes.tocsc(), np.ones(6), rng.normal(size=6), 0.3)
    assert step[3] == 0.0
    assert np.abs(step).max() > 0.0


def test_no_answer_is_told():
    """Without a row that holds it, t has no end."""
    slopes = random_array((2, 3), density=1.0, format="csc", rng=1)
    assert best_step(slopes, np.zeros(2), np.ones(2), 0.3) is None


def test_same_twice_and_silent(rng, capfd):
    given = list(programs(rng, 5))
    first = [best_step(*one, 0.3) for one in given]
    for (step, t, forces), (again, also, too) in zip(
        first, [best_step(*one, 0.3) for one in given], strict=True
    ):
        assert (step == again).all()
        assert t == also
        assert (forces == too).all()
    assert capfd.readouterr() == ("", "")

"""Logarithm, exponential, arc tangent and cosine of the sweep beside those of the C library."""

import math

import numpy as np
import pytest
from numba import njit

from sfn.propagation import quick_math

BOUND = 4e-15  # of the value, or of 1 where the value is smaller


def through(function, x):
    """The function over numbers, in a compiled loop as the sweep has it."""

    @njit(error_model="numpy")
    def loop(x, out):
        for i in range(len(x)):
            out[i] = function(x[i])

    out = np.empty(len(x))
    loop(x, out)
    return out


def off(ours, theirs):
    """Greatest difference in parts of the value, or of 1."""
    theirs = np.array(theirs)
    return float(np.max(np.abs(ours - theirs) / np.maximum(np.abs(theirs), 1.0)))


def test_logarithm():
    """From the smallest to the largest asked for, closely round 1, and at powers of two and of their root."""
    chance = np.random.default_rng(1)
    x = np.concatenate(
        [
            10.0 ** chance.uniform(-300.0, 300.0, 20_000), 1.0 + chance.uniform(-1e-3, 1e-3, 20_000),
            chance.uniform(0.5, 2.0, 20_000), 2.0 ** np.arange(-40, 41), 2.0 ** (np.arange(-41, 41) + 0.5),
        ]
    )  # fmt: skip

    assert off(through(quick_math.ln, x), [math.log(v) for v in x]) < BOUND


def test_logarithm_of_what_lies_close_to_one_keeps_its_own_digits():
    """Ln(1 + x) of a small x loses nothing beyond what 1 + x has lost."""
    x = 1.0 + 10.0 ** np.random.default_rng(2).uniform(-12.0, -3.0, 5000)

    assert np.max(np.abs(through(quick_math.ln, x) / np.array([math.log1p(v - 1.0) for v in x]) - 1.0)) < BOUND


def test_exponential():
    """Off by parts of the value itself, also where that is smallest; beyond the range the nearer end."""
    x = np.concatenate([np.random.default_rng(3).uniform(-700.0, 700.0, 40_000), np.linspace(-1.0, 1.0, 20_001)])
    ours = through(quick_math.exp, x)

    assert np.max(np.abs(ours / np.array([math.exp(v) for v in x]) - 1.0)) < BOUND
    assert through(quick_math.exp, np.array([-1e5, 1e5])) == pytest.approx([math.exp(-700.0), math.exp(700.0)])


def test_arc_tangent():
    """Both signs, the joints at 22.5 and 67.5 degrees, nought, steep."""
    chance = np.random.default_rng(4)
    joints = np.array([math.sqrt(2.0) - 1.0, math.sqrt(2.0) + 1.0])
    x = np.concatenate(
        [chance.uniform(-3.0, 3.0, 40_000), 10.0 ** chance.uniform(-15.0, 15.0, 5000), joints, -joints, [0.0, -0.0]]
    )

    assert off(through(quick_math.arctan, x), [math.atan(v) for v in x]) < BOUND


def test_cosine_of_a_bearing():
    """All round."""
    x = np.linspace(0.0, 2.0 * math.pi, 40_001)

    assert off(through(quick_math.cosine, x), [math.cos(v) for v in x]) < BOUND

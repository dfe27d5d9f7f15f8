"""8-VSB: the echo mask, several echoes, and the same over a map."""

from dataclasses import replace

import numpy as np
import pytest

from sfn.systems.service import service
from sfn.systems.vsb import needed_ratio_db, vsb_answer, vsb_margins

VSB = service("8-vsb")


def test_the_mask_is_linear_between_its_points_and_held_outside() -> None:
    """Points of the mask come out as they stand; outside an echo counts as co-channel interference."""
    assert needed_ratio_db([-50, -40, 0, 20, 30, 50], service=VSB).tolist() == [16, 12, 1, 3, 6.5, 16]
    assert needed_ratio_db([-300, 300], service=VSB).tolist() == [16, 16]


def test_only_a_service_with_a_mask_has_one() -> None:
    """DAB is refused by name."""
    with pytest.raises(ValueError, match="dab-mode-1"):
        needed_ratio_db(0, service=service("dab-mode-1"))


def test_one_echo_far_above_noise_has_its_own_margin() -> None:
    """With noise far down a single echo's margin is all there is."""
    answer = vsb_answer([60, 50], [0, 20], VSB, noise_dbuvm=-100)

    assert answer["margin_db"] == pytest.approx(10 - 3)
    assert (answer["wanted"], answer["hurts"]) == (0, 1)


def test_two_equal_echoes_cost_three_decibels() -> None:
    """Each uses up its part of what is tolerated."""
    answer = vsb_answer([60, 50, 50], [0, 20, 20], VSB, noise_dbuvm=-100)

    assert answer["margin_db"] == pytest.approx(7 - 3.0103, abs=1e-4)


def test_without_echoes_noise_alone_decides() -> None:
    """The margin is C/N less the required C/N."""
    answer = vsb_answer([60], [0], VSB)

    assert answer["margin_db"] == pytest.approx(answer["cn_db"] - 15.2)
    assert (answer["echoes"], answer["hurts"]) == ([], None)


def test_the_mask_may_be_edited() -> None:
    """Another mask, another answer."""
    milder = replace(VSB, echo_mask=((-50.0, 5.0), (50.0, 5.0)))
    (echo,) = vsb_answer([60, 50], [0, 20], milder)["echoes"]

    assert (echo["needed_db"], echo["margin_db"], echo["outside_mask"]) == (5, 5, False)


def test_the_map_is_what_the_lists_give() -> None:
    """Margins and culprits at many points are those of the single lists."""
    rng = np.random.default_rng(2)
    levels, arrivals = rng.normal(55, 12, (5, 40)), rng.uniform(0, 120, (5, 40))
    levels[rng.random(levels.shape) < 0.2] = np.nan
    levels[:, 0] = np.nan
    rare = levels + rng.uniform(0, 6, levels.shape)
    margins, hurting = vsb_margins(levels, arrivals, VSB, level_1pct_dbuvm=rare)

    assert np.isnan(margins[0])
    assert hurting[0] == -1
    for m in range(1, 40):
        answer = vsb_answer(levels[:, m], arrivals[:, m], VSB, levels_1pct=rare[:, m])
        assert margins[m] == pytest.approx(answer["margin_db"])
        assert hurting[m] == (-1 if answer["hurts"] is None else answer["hurts"])


@pytest.mark.parametrize("levels", [[], [np.nan], [[60.0]]])
def test_unusable_lists_are_refused(levels) -> None:
    """No signal, no answer."""
    with pytest.raises(ValueError, match="finite level"):
        vsb_answer(levels, np.zeros_like(levels), VSB)

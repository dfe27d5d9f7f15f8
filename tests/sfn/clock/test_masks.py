"""Masks between their published points, and refusals."""

import numpy as np
import pytest

from sfn.clock.masks import enhanced_clock_holdover, network_mtie, prc_mtie, prtc_mtie, prtc_tdev


def test_masks_never_fall() -> None:
    """A longer interval never allows less; grade B never more than A; the reference clock never less than PRTC-A."""
    seconds = np.geomspace(0.1, 1e5, 200)
    a, b = prtc_mtie(seconds, grade="A"), prtc_mtie(seconds, grade="B")

    for mask in (a, b, prc_mtie(seconds), prtc_tdev(seconds, grade="A"), prtc_tdev(seconds, grade="B")):
        assert np.all(np.diff(mask) >= -1e-12)
    assert np.all(b <= a)
    assert np.all(a <= prc_mtie(seconds) + 1e-12)


def test_no_mask_is_invented_outside_its_points() -> None:
    """Network limits are NaN where no point was published."""
    assert np.isnan(network_mtie([1.0, 1000.0], kind="network")).all()


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: prtc_mtie(1, grade="C"), "grade must be A or B, got 'C'"),
        (lambda: prtc_tdev(1, grade="a"), "grade must be A or B, got 'a'"),
        (lambda: prtc_mtie(0, grade="A"), "interval_s must be 0.1 s or more, got 0.0"),
        (lambda: network_mtie(10, kind="x"), "kind must be one of network, enhanced network, got 'x'"),
        (lambda: enhanced_clock_holdover(-1), "locked_days must be from 0 to 100000 days, got -1"),
    ],
)
def test_refusals(make: object, text: str) -> None:
    """Refused by name, value and range."""
    with pytest.raises(ValueError, match="must be") as refusal:
        make()  # type: ignore[operator]

    assert text in str(refusal.value)

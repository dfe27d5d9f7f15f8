"""The drawing of residuals."""

import pytest

from sfn.report.residual_map import residual_map

SITES = [("North", 36.4, -84.2), ("South", 36.2, -84.2)]


def test_north_is_up_and_the_worst_is_largest() -> None:
    """North stands above south on one line; circles grow with the residual; late and early are told apart."""
    drawn = residual_map(SITES, [(36.3, -84.2, 0.4, True, "a"), (36.35, -84.1, -0.1, False, "b")])
    north, south = drawn.sites

    assert north.y < south.y
    assert north.x == south.x
    assert drawn.residuals[0].radius > drawn.residuals[1].radius
    assert (True, False) == tuple(r.late for r in drawn.residuals)
    assert (True, False) == tuple(r.suspect for r in drawn.residuals)
    assert all(0 < p.x < drawn.width and 0 < p.y < drawn.height for p in (*drawn.sites, *drawn.residuals))


def test_measurements_at_one_place_do_not_hide_each_other() -> None:
    """Three at one point stand round it."""
    drawn = residual_map(SITES, [(36.3, -84.2, 0.1 * k, False, "a") for k in range(3)])
    places = {(r.x, r.y) for r in drawn.residuals}

    assert 3 == len(places)
    assert 320 == pytest.approx(sum(x for x, _ in places) / 3, abs=1)


def test_the_bar_has_its_length() -> None:
    """A tenth of a degree of latitude is 11.13 km: the bar is drawn to that scale."""
    drawn = residual_map([("A", 36.0, -84.0), ("B", 36.1, -84.0)], [])
    per_km = (drawn.sites[0].y - drawn.sites[1].y) / 11.13

    assert float(drawn.bar_text.split()[0]) * per_km == pytest.approx(drawn.bar_px, rel=0.02)


def test_one_place_and_none() -> None:
    """A single site can be drawn; nothing cannot."""
    assert 1 == len(residual_map([("A", 36.0, -84.0)], []).sites)
    with pytest.raises(ValueError, match="at least one site"):
        residual_map([], [])

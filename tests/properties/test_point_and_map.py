"""Across the seam of point and map: at a pixel's centre both have one class and one share, by the same drawn sets."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import sfn
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.reception.classes import CLASSES
from sfn.reception.coverage import coverage
from sfn.reception.heard import listener_sharing, map_sharing
from sfn.reception.judged import DRAWN_SHARE_OFF, draws_say
from sfn.reception.point import PointQuality, point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.study.point import point_signals
from sfn.study.zones import Zones, zones
from sfn.timing import delay_table

BOUNDS = {"fm_ridge": (36.15, -84.45, 36.5, -84.0), "dab_plain": (52.2, 9.6, 53.2, 11.2)}
PIXEL_M = {"fm_ridge": 400.0, "dab_plain": 2500.0}
PLACES_N = 40


@cache
def mapped(name: str) -> tuple[sfn.Opened, Zones, np.ndarray]:
    """A demo's finished map, and arrivals."""
    plan = sfn.load_demo(name)
    network, launches = plan.readable, delay_table(plan.readable).launches()
    grid = grid_for(BOUNDS[name], pixel_m=PIXEL_M[name])
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=place(network), ground=plan.ground, executor=executor)
        found = zones(network, computed, launches, drawn=True, executor=executor)
    return plan, found, computed.arrivals(launches)


def some(name: str) -> list[int]:
    """Random pixels, as many of each class that the map has as there are."""
    classes = mapped(name)[1].quality.quality_class
    rng, kinds = np.random.default_rng(17), np.unique(classes[np.isfinite(classes)])
    assert len(kinds) > 2, "a map of one class shows nothing"
    each = [rng.permutation(np.flatnonzero(classes == kind))[: PLACES_N // len(kinds) + 1] for kind in kinds]
    return [int(pixel) for pixel in np.concatenate(each)[:PLACES_N]]


def at(name: str, pixel: int, *, levels_of_map: bool) -> PointQuality:
    """The point at a pixel's centre, with its own levels or with the map's."""
    plan, found, arrivals = mapped(name)
    grid = found.coverage.grid
    lat, lon = grid.lat_deg[pixel // grid.columns_n], grid.lon_deg[pixel % grid.columns_n]
    point = point_signals(plan.readable, lat_deg=float(lat), lon_deg=float(lon), ground=plan.ground)
    if levels_of_map:
        rows = {name: row for row, name in enumerate(found.coverage.sites)}
        first = rows[point.signals[0].site]
        point = replace(
            point,
            signals=tuple(
                replace(
                    signal,
                    level_dbuvm=float(found.coverage.level_dbuvm[rows[signal.site], pixel]),
                    level_1pct_dbuvm=float(found.coverage.level_1pct_dbuvm[rows[signal.site], pixel]),
                    delay_difference_us=float(arrivals[rows[signal.site], pixel] - arrivals[first, pixel]),
                )
                for signal in point.signals
            ),
        )
    quality = point_quality(plan.readable, point, yardstick(plan.readable))
    assert quality is not None
    assert with_verdict(point, quality).usable == (quality.class_name != "too weak")
    return quality


@pytest.mark.parametrize("name", ["fm_ridge", "dab_plain"])
def test_of_one_set_of_levels_point_and_map_have_one_class(name: str) -> None:
    """40 random pixels of all classes: class, share and who hurts, to the last figure."""
    plan, found, arrivals = mapped(name)
    shares = None
    if found.carried.kind == "fm":
        shares = map_sharing(yardstick(plan.readable), found.coverage.level_dbuvm, arrivals, found.coverage.sites)
    for pixel in some(name):
        quality = at(name, pixel, levels_of_map=True)
        assert quality.class_name == CLASSES[int(found.quality.quality_class[pixel])]
        assert quality.says.by == "drawn shares"
        limiting = found.quality.limiting[pixel]
        names = {site.id: site.name for site in plan.readable.sites}
        assert quality.hurts == (None if np.isnan(limiting) else names[found.coverage.sites[int(limiting)]])
        if shares is not None:
            assert quality.heard is not None
            assert quality.heard.share("clear_stereo") == pytest.approx(shares.clear_stereo[pixel], abs=1e-9)
        else:
            assert found.quality.probability is not None
            assert quality.probability == pytest.approx(float(found.quality.probability[pixel]), abs=1e-6)


@pytest.mark.parametrize("name", ["fm_ridge", "dab_plain"])
def test_at_a_pixels_centre_the_point_has_the_maps_class(name: str) -> None:
    """The same 40 with the point's own levels, which the path to it alone gives: of 472 such pixels none was apart."""
    _, found, _ = mapped(name)
    apart = []
    for pixel in some(name):
        quality = at(name, pixel, levels_of_map=False)
        if quality.class_name != CLASSES[int(found.quality.quality_class[pixel])]:
            apart.append(pixel)
    assert apart == []


@pytest.mark.parametrize("signals_n", [2, 3, 5, 8])
def test_a_share_of_listeners_is_as_near_to_many_draws_as_is_said(signals_n: int) -> None:
    """64 sets of levels against 4,096, 300 random places: within 0.04 at 95 of 100, and never 0.1 off."""
    yard = yardstick(sfn.load_demo("fm_ridge").readable)
    rng = np.random.default_rng(signals_n)
    level = 80 - np.concatenate([np.zeros((1, 300)), rng.uniform(0, 35, (signals_n - 1, 300))])
    late = np.concatenate([np.zeros((1, 300)), rng.uniform(-40, 40, (signals_n - 1, 300))])
    few, many = (
        listener_sharing(yard, level, late, [f"s{k}" for k in range(signals_n)], *n, workers=2)
        for n in ((64, 8), (4096, 16))
    )
    for name in ("clear_stereo", "blended", "upset"):
        off = np.abs(getattr(few, name) - getattr(many, name))
        assert np.quantile(off, 0.95) <= DRAWN_SHARE_OFF["fm"]
        assert off.max() < 0.1
    assert "64 sets of levels a place, in steps of 1.6 %, within 4 % of very many at 95 places of 100" in draws_say(
        yard.carried
    )

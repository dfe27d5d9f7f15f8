"""Lines of a layer: areas of each class or site with their boundaries, and lines of equal value."""

from typing import Any

import numpy as np

from sfn.field.contours import area_geometry, isolines, regions
from sfn.report.colours import named_colours
from sfn.report.numbers import number
from sfn.report.scale import round_step
from sfn.report.vector import collection, line_feature
from sfn.study.zones import Layer, Zones

# Smaller pieces are the speckle of rough ground.
LEAST_PIXELS_N = 6
LEAST_POINTS_N = 10
MOST_LINES_N = 8
# It jumps where another pair becomes the strongest: lines along a jump would look like lines of equal delay.
WITHOUT_LINES = ("delay_difference_us",)


def layer_lines(found: Zones, layer: Layer) -> dict[str, Any]:
    """A layer's lines as GeoJSON.

    Parameters
    ----------
    found : Zones
    layer : Layer
        One of `found`.

    Returns
    -------
    document : dict
        Polygons of each class, each site, or of what is lost; for amounts lines at round values of the layer's unit.
        Pieces below `LEAST_PIXELS_N` pixels are left out, as the property ``least_piece_km2`` says. Empty for a layer
        of `WITHOUT_LINES`.
    """
    if layer.name in WITHOUT_LINES:
        return collection(())
    return _areas(found, layer) if layer.scale.kind in ("classes", "sites", "flag") else _lines(found, layer)


def _areas(found: Zones, layer: Layer) -> dict[str, Any]:
    """Areas of whole values."""
    grid, colours = found.coverage.grid, named_colours(layer.scale)
    piece = {"least_piece_km2": round(LEAST_PIXELS_N * float(grid.pixel_area_km2.mean()), 6)}
    features = []
    for value, (key, label) in _named(found, layer).items():
        for area in regions(layer.values == value, grid, least_pixels_n=LEAST_PIXELS_N):
            about = {"layer": layer.name, key: label, "label": label, "colour": colours[value]} | piece
            about |= {"code": value} if layer.scale.kind == "classes" else {}
            features.append({"type": "Feature", "geometry": area_geometry(area), "properties": about})
    return collection(features)


def _named(found: Zones, layer: Layer) -> dict[int, tuple[str, str]]:
    """What each whole value means: the property that says so, and the words."""
    if layer.scale.kind == "classes":
        return {n: ("class", layer.scale.words[n]) for n in layer.scale.shown}
    if layer.scale.kind == "flag":
        return {1: ("class", layer.label)}
    return {n: ("site", site.name) for n, site in enumerate(found.network.sites)}


def _lines(found: Zones, layer: Layer) -> dict[str, Any]:
    """Lines at round values."""
    scale, grid = layer.scale, found.coverage.grid
    step = round_step(scale.high - scale.low, most=MOST_LINES_N)
    first, last = np.ceil(scale.low / step - 1e-9), np.floor(scale.high / step + 1e-9)
    values = np.arange(first, last + 1) * step
    decimals = 0 if step >= 1 else 1
    features = [
        line_feature(
            [(float(lon), float(lat)) for lon, lat in line.lon_lat],
            {
                "layer": layer.name,
                layer.name: round(float(at), 6) + 0.0,
                "unit": layer.unit,
                "label": f"{number(float(at), decimals)} {scale.unit.partition(',')[0]}",
            },
        )
        for at in values
        for line in isolines(layer.values, grid, at=float(at))
        if len(line.lon_lat) >= LEAST_POINTS_N
    ]
    return collection(features)

"""Where one site stands among the others, for a small drawing: north up, to scale, the ground's shade beneath."""

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sfn.geodesy.line import METRES_PER_DEGREE_M
from sfn.report.ground import shade_of
from sfn.report.maps import png
from sfn.report.numbers import km
from sfn.report.over import DrawnOver, Over, drawn_over
from sfn.report.scale import round_step
from sfn.terrain.dem import Terrain, heights

_WIDTH, _HEIGHT, _MARGIN = 400, 300, 34.0
# A site alone is shown with this much round it.
_LEAST_ACROSS_M = 20_000.0
# Beyond this the shade of the ground says nothing any more, and takes long.
_MOST_SHADED_M = 400_000.0
_SHADE_STEP_PX = 2
# Names of more sites than these would cover the drawing; the others keep their dots.
_MOST_NAMES_N = 6
_LETTER_PX, _LINE_PX = 6.5, 12


@dataclass(frozen=True, slots=True)
class Spot:
    """A site on the drawing; its name is written where `named`, to the left where `left`."""

    name: str
    x: int
    y: int
    named: bool
    left: bool


@dataclass(frozen=True, slots=True)
class Line:
    """A parallel or a meridian of a round degree: its pixel from the top or the left, and what it says."""

    at: int
    text: str


@dataclass(frozen=True, slots=True)
class PositionMap:
    """The drawing, in pixels; `ground` is a picture of the whole of it as a data address, empty without terrain."""

    width: int
    height: int
    here: Spot | None
    """The site in question; None where it stands nowhere yet."""
    others: tuple[Spot, ...]
    bar_px: int
    bar_text: str
    ground: str
    parallels: tuple[Line, ...]
    meridians: tuple[Line, ...]
    frame: str
    """Where its top left corner is and how many degrees a pixel has, for `clicked`."""
    across_km: float | None
    """How much ground its width was asked to show; None: every site. [km]"""
    over: tuple[DrawnOver, ...] = ()
    """Lines and names that lie over it."""


def position_map(
    here: tuple[str, float, float] | None,
    others: Sequence[tuple[str, float, float]],
    *,
    terrain: Terrain | None = None,
    across_km: float | None = None,
    over: Sequence[Over] = (),
) -> PositionMap:
    """Lay a site and the others of its network on a plane.

    Parameters
    ----------
    here : (name, latitude, longitude) or None
        The site in question; None: it stands nowhere yet, and there is at least one other. [degrees]
    others : sequence of (name, latitude, longitude)
        The other sites, the nearest first: those are named. [degrees]
    terrain : Terrain, optional
        Its shade is drawn beneath, where the drawing is not too wide for it.
    across_km : float, optional
        Show so much ground round the site instead of every other site.
    over : sequence of Over
        Lines and names that lie over it.
    """
    every = [*([here] if here else []), *others]
    lon_0 = every[0][2]
    # a network across the date line is no wider for it
    places = [(lat, lon_0 + (lon - lon_0 + 180.0) % 360.0 - 180.0) for _, lat, lon in every]
    south, north = min(p[0] for p in places), max(p[0] for p in places)
    west, east = min(p[1] for p in places), max(p[1] for p in places)
    middle_lat, middle_lon = (south + north) / 2, (west + east) / 2
    shrink = max(math.cos(math.radians(middle_lat)), 1e-3)
    across_m = max((east - west) * shrink * METRES_PER_DEGREE_M, _LEAST_ACROSS_M)
    along_m = max((north - south) * METRES_PER_DEGREE_M, _LEAST_ACROSS_M * _HEIGHT / _WIDTH)
    per_m = min((_WIDTH - 2 * _MARGIN) / across_m, (_HEIGHT - 2 * _MARGIN) / along_m)
    if across_km is not None:
        (middle_lat, middle_lon), shrink = places[0], max(math.cos(math.radians(places[0][0])), 1e-3)
        per_m = _WIDTH / (across_km * 1000.0)
    degrees_per_px = 1.0 / (per_m * METRES_PER_DEGREE_M)

    def at(place: tuple[float, float]) -> tuple[int, int]:
        """Pixels of a latitude and a longitude."""
        x = _WIDTH / 2 + (place[1] - middle_lon) * shrink / degrees_per_px
        return round(x), round(_HEIGHT / 2 - (place[0] - middle_lat) / degrees_per_px)

    # what lies beyond the drawing is left out of it, whatever is shown at large
    shown = [(name, at(place)) for (name, _, _), place in zip(every, places, strict=True)]
    shown = [one for one in shown if 0 <= one[1][0] <= _WIDTH and 0 <= one[1][1] <= _HEIGHT]
    spots = _spots([name for name, _ in shown], [at_px for _, at_px in shown])
    north_deg = middle_lat + _HEIGHT / 2 * degrees_per_px
    west_deg = middle_lon - _WIDTH / 2 * degrees_per_px / shrink
    bar_m = round_step(_WIDTH / 3 / per_m, most=1)
    return PositionMap(
        width=_WIDTH,
        height=_HEIGHT,
        here=spots[0] if here else None,
        others=spots[1:] if here else spots,
        bar_px=round(bar_m * per_m),
        bar_text=km(bar_m, max(0, 3 - math.floor(math.log10(bar_m)))),
        parallels=tuple(
            Line(at((lat, middle_lon))[1], _said(lat, "NS", step))
            for lat, step in _round(middle_lat, _HEIGHT * degrees_per_px)
            if abs(lat) <= 90
        ),
        meridians=tuple(
            Line(at((middle_lat, lon))[0], _said((lon + 180.0) % 360.0 - 180.0, "EW", step))
            for lon, step in _round(middle_lon, _WIDTH * degrees_per_px / shrink)
        ),
        ground="" if terrain is None else _ground(terrain, middle_lat, middle_lon, degrees_per_px, shrink),
        frame=" ".join(f"{one:.10g}" for one in (north_deg, west_deg, degrees_per_px, degrees_per_px / shrink)),
        across_km=across_km,
        over=drawn_over(
            over, north_deg=north_deg, west_deg=west_deg, lat_per_px=degrees_per_px,
            lon_per_px=degrees_per_px / shrink, width=_WIDTH, height=_HEIGHT, taken=[(one.x, one.y) for one in spots],
        ),
    )  # fmt: skip


def clicked(frame: str, right: float, down: float) -> str:
    """Where somebody clicked on a drawing, in decimal degrees with no more digits than a pixel of it is worth.

    Parameters
    ----------
    frame : str
        `PositionMap.frame`.
    right, down : float
        Parts of its width and height, from the top left corner.

    Raises
    ------
    ValueError
        If the frame is none, or the place is not on the drawing.

    Examples
    --------
    >>> clicked("36.5 -84.5 0.001 0.00125", 0.5, 0.5)
    '36.350, -84.250'
    """
    north_deg, west_deg, lat_per_px, lon_per_px = (float(piece) for piece in frame.split())
    if not (0 <= right <= 1 and 0 <= down <= 1 and 1e-9 < lat_per_px < 1 and 1e-9 < lon_per_px < 360):
        raise ValueError(f"the place must be on the drawing, got {right!r}, {down!r} of {frame!r}")
    lat = min(max(north_deg - down * _HEIGHT * lat_per_px, -90.0), 90.0)
    lon = (west_deg + right * _WIDTH * lon_per_px + 180.0) % 360.0 - 180.0
    decimals = max(0, math.floor(1e-9 - math.log10(lat_per_px)))
    return f"{lat:.{decimals}f}, {lon:.{decimals}f}"


def _round(middle_deg: float, across_deg: float) -> list[tuple[float, float]]:
    """Round degrees on the drawing, each with the step between them."""
    step = round_step(across_deg, most=4)
    first = math.ceil((middle_deg - across_deg / 2) / step)
    count = math.floor((middle_deg + across_deg / 2) / step) - first + 1
    return [((first + k) * step, step) for k in range(count)]


def _said(angle_deg: float, letters: str, step_deg: float) -> str:
    """A round degree with its letter: 84.25° W."""
    decimals = max(0, -math.floor(math.log10(step_deg)))
    size = f"{abs(angle_deg):.{decimals}f}"
    letter = "" if float(size) == 0 else letters[1] if angle_deg < 0 else letters[0]
    return f"{size}° {letter}".strip()


def _spots(names: Sequence[str], places: Sequence[tuple[int, int]]) -> tuple[Spot, ...]:
    """Names beside their places, as many as there is room for, the first in any case."""
    taken: list[tuple[float, float, int]] = []
    spots: list[Spot] = []
    for name, (x, y) in zip(names, places, strict=True):
        wide = _LETTER_PX * len(name) + 12
        left = x + wide > _WIDTH
        ends = (x - wide, x) if left else (x, x + wide)
        free = all(abs(y - at) >= _LINE_PX or ends[0] > b or ends[1] < a for a, b, at in taken)
        named = not spots or (free and len(taken) <= _MOST_NAMES_N)
        if named:
            taken.append((*ends, y))
        spots.append(Spot(name, x, y, named, left))
    return tuple(spots)


def _ground(terrain: Terrain, lat_deg: float, lon_deg: float, degrees_per_px: float, shrink: float) -> str:
    """The shade of the ground under the drawing as a PNG in a data address; empty where it is too wide or unknown."""
    step_deg = degrees_per_px * _SHADE_STEP_PX
    step_m = step_deg * METRES_PER_DEGREE_M
    columns, rows = _WIDTH // _SHADE_STEP_PX, _HEIGHT // _SHADE_STEP_PX
    if step_m * columns > _MOST_SHADED_M or abs(lat_deg) + rows * step_deg >= 90:
        return ""
    lat = lat_deg + step_deg * (rows / 2 - 0.5 - np.arange(rows))
    lon = lon_deg + step_deg / shrink * (np.arange(columns) + 0.5 - columns / 2)
    lon = (lon + 180.0) % 360.0 - 180.0
    grid_lat, grid_lon = np.meshgrid(lat, lon, indexing="ij")
    height_m = heights(terrain, grid_lat.ravel(), grid_lon.ravel()).reshape(rows, columns)
    if not np.isfinite(height_m).any():
        return ""
    picture = png(shade_of(height_m, step_m=step_m))
    return f"data:image/png;base64,{base64.b64encode(picture).decode()}"

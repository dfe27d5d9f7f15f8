"""Where residuals lie: sites and points on a plain plane, north up, for a drawing of at most a page's width."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sfn.geodesy.line import METRES_PER_DEGREE_M
from sfn.geodesy.meridian import beside
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.report.numbers import us
from sfn.report.over import DrawnOver, Over, drawn_over
from sfn.report.scale import round_step
from sfn.survey.launch_errors import Reconciliation

_WIDTH, _MARGIN = 640.0, 46.0
_LEAST_HEIGHT, _GREATEST_HEIGHT = 220.0, 620.0
_LEAST_RADIUS, _GREATEST_RADIUS = 3.0, 14.0
_FAN_PX = 13.0


@dataclass(frozen=True, slots=True)
class PlacedSite:
    """A site on the drawing."""

    name: str
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class PlacedResidual:
    """A measurement on the drawing: the larger its circle the worse it fits; late or early by its colour and tick."""

    number: int
    x: int
    y: int
    radius: int
    late: bool
    suspect: bool
    title: str


@dataclass(frozen=True, slots=True)
class ResidualMap:
    """The drawing, in pixels."""

    width: int
    height: int
    sites: tuple[PlacedSite, ...]
    residuals: tuple[PlacedResidual, ...]
    bar_px: int
    bar_text: str
    radius_text: str
    over: tuple[DrawnOver, ...] = ()
    """Lines and names that lie over it."""


def residual_map(
    sites: Sequence[tuple[str, float, float]],
    residuals: Sequence[tuple[float, float, float, bool, str]],
    *,
    over: Sequence[Over] = (),
) -> ResidualMap:
    """Lay sites and residuals on a plane.

    Parameters
    ----------
    sites : sequence of (name, latitude, longitude)
        [degrees]
    residuals : sequence of (latitude, longitude, residual, suspect, title)
        Measured minus adjusted: positive where the site came later than all together say. [degrees, us]
    over : sequence of Over
        Lines and names that lie over the drawing.

    Raises
    ------
    ValueError
        If there is nothing to draw.
    """
    places = [(lat, lon) for _, lat, lon in sites] + [(lat, lon) for lat, lon, *_ in residuals]
    if not places:
        raise ValueError("sites must hold at least one site, got none")
    south, north = min(p[0] for p in places), max(p[0] for p in places)
    first_deg = places[0][1]
    lons = beside([p[1] for p in places], first_deg)
    west, east = float(lons.min()), float(lons.max())
    shrink = math.cos(math.radians((south + north) / 2))
    across_m = max((east - west) * shrink, 1e-3) * METRES_PER_DEGREE_M
    along_m = max(north - south, 1e-3) * METRES_PER_DEGREE_M
    per_m = min((_WIDTH - 2 * _MARGIN) / across_m, (_GREATEST_HEIGHT - 2 * _MARGIN) / along_m)
    height = max(along_m * per_m + 2 * _MARGIN, _LEAST_HEIGHT)
    middle_lat, middle_lon = (south + north) / 2, (west + east) / 2

    def at(lat: float, lon: float) -> tuple[int, int]:
        x = _WIDTH / 2 + (float(beside(lon, first_deg)) - middle_lon) * shrink * METRES_PER_DEGREE_M * per_m
        y = height / 2 - (lat - middle_lat) * METRES_PER_DEGREE_M * per_m
        return round(x), round(y)

    worst = max((abs(r[2]) for r in residuals), default=0.0)
    bar_m = round_step(_WIDTH / 5 / per_m, most=1)
    return ResidualMap(
        width=round(_WIDTH),
        height=round(height),
        sites=tuple(PlacedSite(name, *at(lat, lon)) for name, lat, lon in sites),
        residuals=tuple(
            PlacedResidual(k, x, y, _radius(value, worst), value > 0, suspect, title)
            for k, ((_, _, value, suspect, title), (x, y)) in enumerate(
                zip(residuals, _fanned([at(lat, lon) for lat, lon, *_ in residuals]), strict=True)
            )
        ),
        bar_px=round(bar_m * per_m),
        bar_text=f"{bar_m / 1000:g} km",
        radius_text=us(worst, 3),
        over=drawn_over(
            over, north_deg=middle_lat + height / 2 / per_m / METRES_PER_DEGREE_M,
            west_deg=middle_lon - _WIDTH / 2 / per_m / METRES_PER_DEGREE_M / shrink,
            lat_per_px=1 / per_m / METRES_PER_DEGREE_M, lon_per_px=1 / per_m / METRES_PER_DEGREE_M / shrink,
            width=round(_WIDTH), height=round(height), taken=[at(lat, lon) for _, lat, lon in sites],
        ),
    )  # fmt: skip


def _fanned(places: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Measurements at one place set round it, so that none hides another."""
    total = Counter(places)
    seen: Counter[tuple[int, int]] = Counter()
    fanned = []
    for spot in places:
        turn = 2 * math.pi * seen[spot] / total[spot]
        away = 0.0 if total[spot] == 1 else _FAN_PX
        fanned.append((spot[0] + round(away * math.sin(turn)), spot[1] - round(away * math.cos(turn))))
        seen[spot] += 1
    return fanned


def residuals_drawn(network: Network, found: Reconciliation, *, over: Sequence[Over] = ()) -> ResidualMap:
    """The drawing of a reconciliation: all sites, every measurement that was used, and what lies `over` it.

    Raises
    ------
    PlanError
        If a position cannot be read.
    """
    placed = place(network)
    rows = []
    for row in found.residuals:
        if row.left_over_us is None:
            continue
        m = row.measurement
        off_us = row.left_over_us
        title = f"{m.site} against {m.reference_site} at {m.point}: {us(off_us, 3, signed=True)}, {row.verdict}"
        rows.append((m.lat_deg, m.lon_deg, off_us, row.verdict == "suspect", title))
    return residual_map([(s.name, placed[s.id].lat_deg, placed[s.id].lon_deg) for s in network.sites], rows, over=over)


def _radius(value_us: float, worst_us: float) -> int:
    """Radius of a circle whose area grows with the residual."""
    share = math.sqrt(abs(value_us) / worst_us) if worst_us > 0 else 0.0
    return round(_LEAST_RADIUS + share * (_GREATEST_RADIUS - _LEAST_RADIUS))

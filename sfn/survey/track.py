"""A line to drive along: from GPX, GeoJSON, CSV or typed places; and points on it at even distances.

| symbol | name | unit |
|---|---|---|
| V | vertices of the line as it was given | |
| M | samples at even distances along it | |
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.line import direct, inverse
from sfn.geodesy.position import locate
from sfn.plan.json_parts import JsonMost, read_within
from sfn.plan.sheets import table_text
from sfn.survey.gpx import gpx_points
from sfn.survey.rows import Row, refuse, rows_of
from sfn.units import grouped

Floats = NDArray[np.float64]

EXPECTED = "a GPX track, a GeoJSON LineString, or CSV with the columns lat,lon"
TYPED = "the typed line"
REQUIRED = ("lat", "lon")
OPTIONAL = ("level_dbuvm", "site", "mark", "quality_db", "remark", "when")
MOST_VERTICES_N = 200_000
MOST_SAMPLES_N = 20_000
MOST_PIECES_N, MOST_DEPTH_N = 10 * MOST_VERTICES_N, 1000
_PARTS = JsonMost(values=4 * MOST_VERTICES_N, texts=100_000, lists=MOST_VERTICES_N + 1000, objects=20_000, keys=100_000)
LEAST_SPACING_M, USUAL_SPACING_M, GREATEST_SPACING_M = 5.0, 100.0, 10_000.0
VERTEX_M = 5.0  # standing still, a receiver of satellites wanders by a few metres: that is no road
JUMP_M = 2_000.0  # between two points of a recorded track; more is a gap, or a jump


@dataclass(frozen=True, slots=True)
class Track:
    """Vertices of a line in the order in which it is driven. [degrees]"""

    name: str
    lat_deg: Floats
    lon_deg: Floats
    problems: tuple[Problem, ...] = ()
    """Warnings: where the line jumps."""
    credit: str = ""
    """Whose data the line is; empty where nobody asks to be named."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Points at even distances along a line, its end included, shape (M,). [m, degrees]"""

    distance_m: Floats
    lat_deg: Floats
    lon_deg: Floats

    @property
    def length_m(self) -> float:
        """Of the whole line."""
        return float(self.distance_m[-1])

    @property
    def edges_m(self) -> Floats:
        """Where the share of each sample begins and ends, half way to its neighbours, shape (M + 1,). [m]"""
        middle = (self.distance_m[:-1] + self.distance_m[1:]) / 2
        return np.concatenate(([0.0], middle, [self.length_m]))

    def share_m(self) -> Floats:
        """How much of the line each sample stands for, shape (M,). [m]"""
        return np.diff(self.edges_m)


def read_track(path: Path | str) -> Track:
    """A line from a file: GPX and GeoJSON by what it holds, else CSV.

    Raises
    ------
    PlanError
        If it cannot be used; problems name file, line and column (GPX: point by its number).
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise PlanError(
            [Problem(path.name, f"cannot be opened: {error.strerror}", EXPECTED, code="file-unreadable")]
        ) from error
    return track_of_bytes(content, source=path.name)


def track_of_bytes(content: bytes, *, source: str) -> Track:
    """The same from a file's content."""
    head = content.lstrip(b"\xef\xbb\xbf \t\r\n")[:1]
    if head in (b"<", b"{", b"["):
        _counted(content, source)
    if head == b"<" or source.lower().endswith(".gpx"):
        return _gpx(content, source=source)
    text = table_text(content, source=source)
    if head in (b"{", b"["):
        return _geojson(text, source=source)
    return _from_rows(rows_of(text, source=source, required=REQUIRED, optional=OPTIONAL), source=source)


def typed_track(text: str, *, where: str = "line") -> Track:
    """A line out of places as people write them, one a line of text, or with semicolons between.

    Raises
    ------
    PlanError
        With the number of the place that cannot be read.
    """
    places = [part.strip() for part in text.replace(";", "\n").splitlines() if part.strip()]
    found, problems = [], []
    for number, written in enumerate(places, start=1):
        try:
            found.append(locate(text=written, where=where))
        except PlanError as error:
            problems += [replace(p, where=where, what=f"place {number}: {p.what}") for p in error.problems]
    if problems:
        raise PlanError(at_most(problems, source=where))
    return replace(track_of([(at.lat_deg, at.lon_deg) for at in found], source=where), name=TYPED)


def track_of(points: Sequence[tuple[float, float]], *, source: str, recorded: bool = False) -> Track:
    """A line through latitude, longitude pairs.

    Parameters
    ----------
    points : sequence of (latitude, longitude)
        [degrees]
    source : str
        What messages call it.
    recorded : bool
        Points come from a receiver: one that hardly moved is left out, and a jump is warned of.

    Raises
    ------
    PlanError
        If it has fewer than two different places, or too many.
    """
    if len(points) > MOST_VERTICES_N:
        raise PlanError(
            [
                Problem(
                    source,
                    f"has {len(points)} points",
                    f"{MOST_VERTICES_N} at most",
                    code="too-many-points",
                    values={"points": len(points), "most_points": MOST_VERTICES_N},
                )
            ]
        )
    lat, lon = (np.array([p[k] for p in points], dtype=np.float64) for k in (0, 1))
    keep = thinned(lat, lon, least_m=VERTEX_M if recorded else 0.01)
    if len(keep) < 2:
        what = "holds no line" if not len(points) else "holds one place only"
        raise PlanError([Problem(source, what, "two places or more, some metres apart", code="line-too-short")])
    lat, lon = lat[keep], lon[keep]
    return Track(source, lat, lon, _jumps(lat, lon, source=source) if recorded else ())


def thinned(lat_deg: Floats, lon_deg: Floats, *, least_m: float) -> list[int]:
    """Vertices at least some distance apart, so that standing still adds no length; the first is always one.

    Parameters
    ----------
    lat_deg, lon_deg : ndarray, shape (V,)
        [degrees]
    least_m : float
        [m]
    """
    if not len(lat_deg):
        return []
    step_m, _, _ = inverse(lat_deg[:-1], lon_deg[:-1], lat_deg[1:], lon_deg[1:])
    keep, waiting = [0], False
    for k in range(1, len(lat_deg)):
        # Only what follows a vertex that was left out needs a distance of its own.
        if waiting:
            away = float(inverse(lat_deg[keep[-1]], lon_deg[keep[-1]], lat_deg[k], lon_deg[k])[0])
        else:
            away = float(step_m[k - 1])
        waiting = away < least_m
        if not waiting:
            keep.append(k)
    return keep


def samples(track: Track, *, spacing_m: float = USUAL_SPACING_M) -> Samples:
    """Points at even distances along a line; between vertices it follows the geodesic on WGS84.

    Parameters
    ----------
    track : Track
    spacing_m : float
        [m]

    Raises
    ------
    PlanError
        If the spacing is out of range, or makes more points than `MOST_SAMPLES_N`.
    """
    if not LEAST_SPACING_M <= spacing_m <= GREATEST_SPACING_M:
        expected = f"{LEAST_SPACING_M:g} to {GREATEST_SPACING_M:g} m"
        raise PlanError(
            [
                Problem(
                    "spacing_m",
                    f"cannot be {spacing_m:g}",
                    expected,
                    code="out-of-range",
                    fields=("spacing_m",),
                    values={"spacing_m": spacing_m},
                )
            ]
        )
    step_m, azimuth_deg, _ = inverse(track.lat_deg[:-1], track.lon_deg[:-1], track.lat_deg[1:], track.lon_deg[1:])
    along_m = np.concatenate(([0.0], np.cumsum(step_m)))
    length_m = float(along_m[-1])
    if length_m / spacing_m > MOST_SAMPLES_N:
        what = f"of {spacing_m:g} m makes more than {MOST_SAMPLES_N} points of {length_m / 1000:.0f} km"
        raise PlanError(
            [
                Problem(
                    "spacing_m",
                    what,
                    f"{length_m / MOST_SAMPLES_N:.0f} m or more",
                    code="too-many-samples",
                    fields=("spacing_m",),
                    values={"spacing_m": spacing_m},
                )
            ]
        )
    at_m = np.arange(0.0, length_m, spacing_m)
    # The end belongs to the line; a last piece shorter than a metre is no sample of its own.
    at_m = np.append(at_m[at_m < length_m - 1.0] if len(at_m) > 1 else at_m, length_m)
    leg = np.clip(np.searchsorted(along_m, at_m, side="right") - 1, 0, len(step_m) - 1)
    lat, lon = direct(
        track.lat_deg[leg], track.lon_deg[leg], azimuth_deg=azimuth_deg[leg], ground_m=at_m - along_m[leg]
    )
    return Samples(at_m, lat, lon)


def _jumps(lat: Floats, lon: Floats, *, source: str) -> tuple[Problem, ...]:
    """Where a recorded line leaves out some of the way."""
    step_m, _, _ = inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])
    usual_m = float(np.median(step_m))
    jumps = [
        Problem(
            source,
            f"jumps {step_m[k] / 1000:.1f} km from {lat[k]:.5f},{lon[k]:.5f}: a straight line is taken there",
            "a track without gaps",
            "warning",
            code="track-jumps",
            values={"jump_m": float(step_m[k])},
        )
        for k in np.flatnonzero(step_m > max(JUMP_M, 20 * usual_m))
    ]
    return tuple(at_most(jumps, source=source))


def _counted(content: bytes, source: str) -> None:
    """Refuse more points than a line has, or deeper nesting, before anything is taken apart."""
    ends = content.count(b"</")
    deep = content.count(b"<") - 2 * ends - content.count(b"/>")
    points = max(content.count(b"pt "), content.count(b"["))  # <trkpt ...>; GeoJSON's positions
    for found, most, name in (
        (points, MOST_VERTICES_N + MOST_DEPTH_N, "points"),
        (ends, MOST_PIECES_N, "pieces"),
        (content.count(b","), MOST_PIECES_N, "values"),
        (deep, MOST_DEPTH_N, "pieces within each other"),
    ):
        if found > most:
            what = f"has some {grouped(found)} {name}"
            raise PlanError([Problem(source, what, f"{grouped(most)} at most", code="file-too-large")])


def _gpx(content: bytes, *, source: str) -> Track:
    """Track points; where there are none, route points, then way points."""
    points = gpx_points(content, source=source)
    for kind in ("trkpt", "rtept", "wpt"):
        of_kind = [(p.lat_deg, p.lon_deg) for p in points if p.kind == kind]
        if of_kind:
            return track_of(of_kind, source=source, recorded=kind == "trkpt")
    raise PlanError([Problem(source, "holds no points", "a GPX track", code="file-empty")])


def _geojson(text: str, *, source: str) -> Track:
    """The lines of a GeoJSON document (RFC 7946), one after the other; longitude first there."""
    try:
        document = read_within(text, _PARTS, source)
    except (ValueError, RecursionError) as error:
        raise PlanError(
            [Problem(source, f"is no JSON that can be read ({error})", EXPECTED, code="file-unreadable")]
        ) from error
    points: list[tuple[float, float]] = []
    try:
        for line in _lines(document):
            points += [_lat_lon(position, number) for number, position in enumerate(line, start=1)]
    except (KeyError, TypeError, ValueError, IndexError, RecursionError) as error:
        what = f"is no GeoJSON that can be used ({str(error)[:120]})"
        raise PlanError(
            [
                Problem(
                    source, what, "a LineString of [longitude, latitude] pairs on WGS84", code="coordinates-unreadable"
                )
            ]
        ) from error
    if not points:
        raise PlanError([Problem(source, "holds no line", "a GeoJSON LineString", code="no-line-in-file")])
    return track_of(points, source=source)


def _lines(of: Any) -> list[Any]:
    """The coordinates of every line in a GeoJSON object."""
    if not isinstance(of, dict):
        return []
    kind = of.get("type")
    if kind == "LineString":
        return [of["coordinates"]]
    if kind == "MultiLineString":
        return list(of["coordinates"])
    if kind == "Feature":
        return _lines(of.get("geometry"))
    inside = of.get({"FeatureCollection": "features", "GeometryCollection": "geometries"}.get(str(kind), ""), [])
    return [line for one in inside for line in _lines(one)]


def _lat_lon(position: Any, number: int) -> tuple[float, float]:
    """Latitude and longitude of a GeoJSON position."""
    try:
        lon, lat = float(position[0]), float(position[1])
    except (TypeError, ValueError, IndexError, KeyError) as error:
        raise ValueError(f"position {number} is {str(position)[:60]}") from error
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise ValueError(f"position {number} is [{lon:g}, {lat:g}]")
    return lat, lon


def _from_rows(rows: list[Row], *, source: str) -> Track:
    """Places of a table."""
    lat = [r.number("lat", least=-90.0, greatest=90.0, unit="degrees") for r in rows]
    lon = [r.number("lon", least=-180.0, greatest=180.0, unit="degrees") for r in rows]
    refuse(rows)
    return track_of(list(zip(lat, lon, strict=True)), source=source, recorded=True)

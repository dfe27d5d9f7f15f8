"""What a transmitter radiates towards places, apart from the ground between: levels follow another antenna or power.

``level = field of 1 kW over the path + e.r.p. - attenuation(bearing, elevation)``: where only power and antenna are
changed, the first term stays, and a level moves by the difference of the others. Bearings are worked out anew, by the
polynomials that the sweep has them from; elevations are kept with the levels.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.antenna import Pattern, Table, by_angle, round_by_angle
from sfn.field.gain_kernels import radiated_db
from sfn.field.losses import reach_km
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.around import site_map
from sfn.geodesy.grid import Grid
from sfn.propagation import radials

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
# One plane as the kernel takes it: e.r.p. over 1 kW, then angles, attenuations and where each whole degree begins.
Angles = tuple[Floats, Floats, NDArray[np.int64]]
PLANES: tuple[Plane, ...] = ("h", "v")
_NO_TABLE: Angles = (np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))


def same_path(before: Transmitter, after: Transmitter) -> bool:
    """Whether two transmitters differ in power and antenna alone, so that the path between them and a place is one.

    The plane that a receiver of the stronger one takes bears on the path a little: it must be the same too.
    """
    alike = replace(after, erp_h_kw=before.erp_h_kw, erp_v_kw=before.erp_v_kw, pattern=before.pattern)
    return alike == before and before.received_plane(None) == after.received_plane(None)


def level_change(
    before: Transmitter, after: Transmitter, bearing_deg: Singles | Floats, elevation_deg: Singles | Floats, *,
    plane: Plane | None,
) -> Singles:  # fmt: skip
    """By how much levels move where a transmitter radiates otherwise.

    Parameters
    ----------
    before, after : Transmitter
        Alike but for power and antenna.
    bearing_deg, elevation_deg : ndarray, one shape
        Of the rays that leave for the places, as `sfn.antenna.attenuation` takes them. [degrees]
    plane : {'h', 'v'}, optional
        As in `sfn.field.levels.levels_at`: not given, at each place the plane that radiates more there.

    Returns
    -------
    change_db : ndarray of float32, shape of the angles
        After minus before. [dB] NaN where an angle is NaN, or nothing was radiated.

    Raises
    ------
    ValueError
        If they differ in what the path depends on.
    """
    if not same_path(before, after):
        raise ValueError(f"transmitters {before.id} and {after.id} must differ in power and antenna alone")
    bearing, elevation = (np.ascontiguousarray(v, dtype=np.float32).ravel() for v in (bearing_deg, elevation_deg))
    made = [np.empty(bearing.size, dtype=np.float32) for _ in range(2)]
    for one, out in zip((before, after), made, strict=True):
        towards = one.pattern or Pattern(0.0, 0.0, 0.0, None, None, None, None)
        turned = (towards.azimuth_deg, towards.electrical_tilt_deg, towards.mechanical_tilt_deg)
        first, second = (_plane(one, towards, name) for name in (PLANES if plane is None else (plane, plane)))
        radiated_db(bearing, elevation, turned, first, second, plane is None, out)
    with np.errstate(invalid="ignore"):  # nothing radiated before or after
        change = made[1] - made[0]
    change[~np.isfinite(change)] = np.nan
    return change.reshape(np.shape(bearing_deg))


def bearings_on(transmitter: Transmitter, grid: Grid) -> Singles:
    """Bearing of every pixel from a site, by the same polynomials as in the sweep, shape (M,). [degrees]"""
    lat, lon = (np.ascontiguousarray(v).ravel() for v in np.broadcast_arrays(*grid.points_deg))
    reach = reach_km(transmitter, *grid.points_deg)
    around = site_map(transmitter.lat_deg, transmitter.lon_deg, radius_m=1000.0 * reach)
    site = np.array([around.lat_deg, around.lon_deg, around.lat_scale_deg, around.lon_scale_deg])
    distance, azimuth, room = np.empty(lat.size), np.empty(lat.size), np.empty((2, around.degree + 1))
    radials.locate(lat, lon, site, around.plane_m, around.degree, reach, distance, azimuth, room)
    return np.degrees(azimuth, out=azimuth).astype(np.float32)


def _plane(of: Transmitter, towards: Pattern, plane: Plane) -> tuple[float, Angles, Angles]:
    """One plane of polarisation as the kernel takes it."""
    horizontal, vertical = (
        (towards.horizontal_h, towards.vertical_h) if plane == "h" else (towards.horizontal_v, towards.vertical_v)
    )
    return (
        of.erp_dbk(plane),
        _NO_TABLE if horizontal is None else _laid(*round_by_angle(horizontal), 0, 360),
        _NO_TABLE if vertical is None else _of_vertical(vertical),
    )


def _of_vertical(table: Table) -> Angles:
    """A vertical table as the kernel takes it."""
    held = by_angle(table)
    return _laid(np.array(list(held)), np.array(list(held.values())), -90, 90)


def _laid(angle: Floats, loss_db: Floats, least: int, greatest: int) -> Angles:
    """A table with the row at or before each whole degree, -1 before its first; beyond the ends it goes on level."""
    starts = np.searchsorted(angle, np.arange(least, greatest + 1), side="right") - 1
    return angle, loss_db, starts.astype(np.int64)

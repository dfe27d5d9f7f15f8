"""Pictures for a report: the profile of a path, and antenna patterns. matplotlib is imported in the functions.

A profile is drawn over an earth that bulges by ``500 d (D - d) / ae`` metres (d in km), so that a ray is a
straight line and what rises above it is in the way.
"""

import io
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from sfn.antenna import Pattern, attenuation
from sfn.field.path import PathLevels
from sfn.report.letters import BRACKETS_SAY, set_in_fonts
from sfn.report.numbers import number
from sfn.report.scale import round_step
from sfn.units import SPEED_OF_LIGHT_M_PER_US, refractive_index

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]
PictureFormat = Literal["svg", "png"]

SHEET, INK, QUIET, RULE = "#fdfbf5", "#1c2a31", "#55605f", "#cfc7b2"
EARTH, COVER, SEA, TEAL, RUST = "#b9a88a", "#7f9a6d", "#9cc3cf", "#0b5a66", "#a3430f"
# The Recommendations' speed of light, 2.998e8 m/s.
WAVELENGTH_AT_1_MHZ_M = 299.8
SEA_ZONE = 2
# Sea level is in the picture when the lowest ground lies below this part of the greatest height.
SEA_SHOWN = 0.2
PNG_DOTS = 160
# Characters of a line under a picture.
BENEATH_N = 150


def path_plot(
    levels: PathLevels,
    *,
    tx_name: str,
    rx_name: str,
    frequency_mhz: float,
    radius_km: float,
    refractivity_n: float,
    picture: PictureFormat = "svg",
    beneath: str = "",
) -> bytes:
    """The profile of a path: ground over the bulging earth, cover, antennas, ray, first Fresnel zone, horizons.

    Parameters
    ----------
    levels : PathLevels
        From `sfn.field.path.path_levels`.
    tx_name, rx_name : str
        What stands at either end.
    frequency_mhz : float
        For the Fresnel zone. [MHz]
    radius_km : float
        Median effective Earth radius. [km]
    refractivity_n : float
        For the travel time scale. [N-units]
    picture : {'svg', 'png'}
    beneath : str
        A line with it: whose data the ground is.

    Returns
    -------
    content : bytes
        The picture's file; the same for the same path.
    """
    figure, axes = _figure(11.0, 5.4)
    if beneath:
        # At the head: at the foot it would lie on the legend, which stands outside the axes too.
        figure.suptitle("\n".join(wrap(beneath, BENEATH_N)), fontsize=7, color=QUIET, x=0.01, ha="left")
    at_km = levels.ground.distance_m / 1000.0
    long_km = max(float(at_km[-1]), 1e-3)
    bulge_m = 500.0 * at_km * (long_km - at_km) / radius_km
    ground_m = levels.ground.ground_m + bulge_m
    _earth(axes, levels, at_km, ground_m, bulge_m)
    ray_m = levels.tx_m + (levels.rx_m - levels.tx_m) * at_km / long_km
    wavelength_m = WAVELENGTH_AT_1_MHZ_M / frequency_mhz
    zone_m = np.sqrt(np.maximum(wavelength_m * 1000.0 * at_km * (long_km - at_km) / long_km, 0.0))
    fine = np.linspace(0.0, long_km, 300)
    fine_zone = np.sqrt(wavelength_m * 1000.0 * fine * (long_km - fine) / long_km)
    fine_ray = levels.tx_m + (levels.rx_m - levels.tx_m) * fine / long_km
    if np.isfinite(levels.rx_m):
        axes.fill_between(fine, fine_ray - fine_zone, fine_ray + fine_zone, color=TEAL, alpha=0.12, lw=0, zorder=3)
        axes.plot(fine, fine_ray - fine_zone, color=TEAL, lw=0.6, zorder=3)
        axes.plot(fine, fine_ray + fine_zone, color=TEAL, lw=0.6, zorder=3, label="first Fresnel zone")
        sees = bool(levels.loss and levels.loss[0].line_of_sight)
        axes.plot(
            [0, long_km], [levels.tx_m, levels.rx_m], color=TEAL, lw=1.5, ls="-" if sees else (0, (5, 4)), zorder=5,
            label="line of sight" if sees else "straight line, obstructed",
        )  # fmt: skip
        if not sees:
            _horizons(axes, levels, at_km, ground_m)
    _masts(axes, levels, ground_m, long_km)
    _labels(axes, levels, tx_name, rx_name, frequency_mhz, long_km)
    top_m = np.nanmax(np.concatenate([ground_m + levels.ground.cover_m, ray_m + zone_m, [levels.tx_m]]))
    low_m = float(np.nanmin(np.concatenate([ground_m, ray_m - zone_m])))
    if low_m < SEA_SHOWN * top_m:
        low_m = min(low_m, float(bulge_m.min()))
    axes.set_xlim(0.0, long_km)
    axes.set_ylim(low_m - 0.06 * (top_m - low_m), top_m + 0.16 * (top_m - low_m))
    _light_ruler(axes, long_km, refractivity_n)
    return written(figure, picture)


def pattern_plot(pattern: Pattern, *, plane: Literal["h", "v"] = "h", picture: PictureFormat = "svg") -> bytes:
    """An antenna as it was imported: the horizontal pattern by bearing, the vertical one by elevation.

    Parameters
    ----------
    pattern : Pattern
        As it hangs: azimuth and tilts included.
    plane : {'h', 'v'}
        Plane of polarisation.
    picture : {'svg', 'png'}

    Returns
    -------
    content : bytes
        The picture's file.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 4.2), facecolor=SHEET, layout="constrained")
    round_axes: Any = figure.add_subplot(1, 2, 1, projection="polar")
    bearing = np.arange(0.0, 361.0)
    off_db = attenuation(pattern, bearing, elevation_deg=0.0, plane=plane)
    round_axes.set_theta_zero_location("N")
    round_axes.set_theta_direction(-1)
    round_axes.plot(np.radians(bearing), -off_db, color=TEAL, lw=1.5)
    round_axes.set_ylim(-max(20.0, 10.0 * np.ceil(off_db.max() / 10.0)), 0.0)
    round_axes.set_title("At the horizon, by bearing from true north (dB)", fontsize=9, color=INK)
    round_axes.tick_params(labelsize=8, colors=QUIET)
    flat = figure.add_subplot(1, 2, 2)
    elevation = np.linspace(-20.0, 10.0, 601)
    for turn_deg, colour, name in ((0.0, TEAL, "along the azimuth"), (180.0, RUST, "behind")):
        off_db = attenuation(pattern, pattern.azimuth_deg + turn_deg, elevation_deg=elevation, plane=plane)
        flat.plot(elevation, -off_db, color=colour, lw=1.4, label=name)
    quiet_axes(flat)
    flat.set_xlabel("elevation (degrees, below the horizon to the left)", fontsize=9, color=INK)
    flat.set_ylabel("dB", fontsize=9, color=INK)
    flat.legend(fontsize=8, frameon=False)
    return written(figure, picture)


def _figure(width_in: float, height_in: float) -> "tuple[Figure, Axes]":
    """A figure that touches no global state of matplotlib, so that several threads can draw."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), facecolor=SHEET, layout="constrained")
    axes = figure.add_subplot()
    quiet_axes(axes)
    return figure, axes


def quiet_axes(axes: "Axes") -> None:
    """Paper, thin rules, no frame."""
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(RULE)
    axes.tick_params(colors=QUIET, labelsize=8.5)
    axes.grid(color=RULE, lw=0.4, alpha=0.7)
    axes.set_axisbelow(True)


def _earth(axes: "Axes", levels: PathLevels, at_km: Floats, ground_m: Floats, bulge_m: Floats) -> None:
    """Sea level, ground, cover, sea, and where nothing is known."""
    ground = levels.ground
    floor = np.full(at_km.size, -1e5)
    axes.plot(at_km, bulge_m, color=QUIET, lw=0.8, ls=(0, (1, 2)), zorder=2, label="sea level")
    axes.fill_between(at_km, floor, ground_m, color=EARTH, lw=0, zorder=2.2, label="ground")
    at_sea = ground.zone == SEA_ZONE
    if at_sea.any():
        axes.fill_between(at_km, floor, ground_m, where=at_sea.tolist(), color=SEA, lw=0, zorder=2.3, label="sea")
    if (ground.cover_m > 0).any():
        axes.fill_between(
            at_km, ground_m, ground_m + ground.cover_m, color=COVER, lw=0, zorder=2.1, step="mid", label="ground cover"
        )
    axes.plot(at_km, ground_m, color=INK, lw=0.8, zorder=2.4)
    if ground.gap_from_m is not None:
        axes.axvspan(
            ground.gap_from_m / 1000.0, at_km[-1], facecolor="none", edgecolor=RUST, hatch="///", lw=0, alpha=0.5,
            label="ground not known",
        )  # fmt: skip


def _horizons(axes: "Axes", levels: PathLevels, at_km: Floats, ground_m: Floats) -> None:
    """Rays to the two horizons, and the points that make them."""
    if not levels.loss or "dlt" not in levels.loss[0].intermediates:
        return
    named = levels.loss[0].intermediates
    long_km = float(at_km[-1])
    for from_km, height_m, edge_km, name in (
        (0.0, levels.tx_m, named["dlt"], "horizon of the transmitter"),
        (long_km, levels.rx_m, long_km - named["dlr"], "horizon of the receiver"),
    ):
        point = int(np.argmin(np.abs(at_km - edge_km)))
        colour = RUST if from_km else INK
        axes.plot([from_km, at_km[point]], [height_m, ground_m[point]], color=colour, lw=1.0, zorder=6)
        axes.plot(at_km[point], ground_m[point], marker="v", ms=6, color=colour, ls="none", zorder=7, label=name)


def _masts(axes: "Axes", levels: PathLevels, ground_m: Floats, long_km: float) -> None:
    """The antennas over their ground."""
    for at, foot_m, top_m in ((0.0, ground_m[0], levels.tx_m), (long_km, ground_m[-1], levels.rx_m)):
        if not np.isfinite(top_m):
            continue
        axes.plot([at, at], [foot_m, top_m], color=INK, lw=3.0, zorder=6, clip_on=False, solid_capstyle="butt")
        axes.plot(at, top_m, marker="o", ms=5, color=INK, zorder=7, clip_on=False)


def _labels(axes: "Axes", levels: PathLevels, tx_name: str, rx_name: str, frequency_mhz: float, long_km: float) -> None:
    """Title, names of the ends, legend."""
    median = next((v for p, v in zip(levels.time_pct, levels.level_dbuvm, strict=True) if p == 50.0), None)
    level = "" if median is None or not np.isfinite(median) else f", {number(median, 1)} dBµV/m at 50 % of time"
    axes.set_title(
        f"{tx_name} to {rx_name}: {number(long_km, 2)} km, bearing {number(levels.bearing_deg, 1)}°, "
        f"{number(frequency_mhz, 1)} MHz{level}",
        loc="left", fontsize=10.5, color=INK,
    )  # fmt: skip
    for at, name, side in ((0.0, tx_name, "left"), (1.0, rx_name, "right")):
        axes.text(
            at, 0.985, f" {name} ", transform=axes.transAxes, ha=side, va="top", fontsize=9, color=INK, zorder=8,
            bbox={"facecolor": SHEET, "edgecolor": "none", "pad": 2.0},
        )  # fmt: skip
    axes.set_ylabel("height above sea level, over the bulging earth (m)", fontsize=9, color=INK)
    note = "earth taken as smooth: no terrain known" if levels.ground.smooth else ""
    axes.text(0.5, 0.985, note, transform=axes.transAxes, ha="center", va="top", fontsize=9, color=RUST)
    axes.figure.legend(loc="outside lower center", ncols=4, fontsize=8, frameon=False)


def _light_ruler(axes: "Axes", long_km: float, refractivity_n: float) -> None:
    """Kilometres along the ground, and beneath each what light takes for it."""
    step = round_step(long_km, most=8)
    at_km = np.arange(0.0, long_km + 1e-9, step)
    metres_per_us = SPEED_OF_LIGHT_M_PER_US / refractive_index(refractivity_n)
    decimals = max(0, -int(np.floor(np.log10(step))))
    axes.set_xticks(
        at_km,
        [f"{number(km, decimals)} km\n{number(km * 1000.0 / metres_per_us, max(decimals, 1))} µs" for km in at_km],
    )


def written(figure: "Figure", picture: PictureFormat) -> bytes:
    """The figure as a file; no date in it. Names are set in fonts of this machine; what none has is said in words."""
    out = io.BytesIO()
    if set_in_fonts(figure):
        figure.text(0.99, 0.995, f"{BRACKETS_SAY}.", fontsize=7, color=RUST, ha="right", va="top")
    if picture == "svg":
        figure.savefig(out, format="svg", facecolor=SHEET, metadata={"Date": None, "Creator": None})
    else:
        figure.savefig(out, format="png", facecolor=SHEET, dpi=PNG_DOTS, metadata={"Software": None})
    return out.getvalue()

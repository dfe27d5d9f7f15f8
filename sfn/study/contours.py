"""The answer of ``contours``: areas at or above a field strength, and whether fill-ins stay inside the main's."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sfn.errors import PlanError, Problem, Touch
from sfn.field.contours import Area, Overreach, contours, inside, overreach
from sfn.field.indoors import indoor_loss_db
from sfn.field.over_smooth import smooth_said
from sfn.field.raster import Singles
from sfn.field.rasters import CacheFolder, SiteProgress, level_rasters
from sfn.geodesy.grid import Grid
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.plan.left_out import LeftOut, why_left_out
from sfn.reception.aimed import bare_says
from sfn.reception.coverage import Coverage, received_plane, shift_on, transmitters
from sfn.reception.on_treetops import grid_on_treetops, on_treetops_of
from sfn.reception.radiated import as_radiated
from sfn.report.numbers import number
from sfn.study.frame import contours_cut_says
from sfn.terrain.ground import Ground, averaged_says, coarsest
from sfn.terrain.treetops import on_treetops_grid

LICENCE = "licence"


@dataclass(frozen=True, slots=True)
class SiteContour:
    """One site's contour.

    Parameters
    ----------
    site, name : str
    areas : tuple of Area
        Largest first; empty where the level is reached nowhere.
    area_km2 : float
        Of all of them together. [km2]
    edge_cut : bool
        An area reaches the edge of the grid: it goes on beyond.
    uncovered_km2 : float
        Part of the grid where the site's level is not known. [km2]
    """

    site: str
    name: str
    areas: tuple[Area, ...]
    area_km2: float
    edge_cut: bool
    uncovered_km2: float


@dataclass(frozen=True, slots=True)
class Inside:
    """Whether one site's contour stays inside another's, or inside the licence's."""

    site: str
    outer: str
    found: Overreach


@dataclass(frozen=True, slots=True)
class Contours:
    """Contours of some sites of a network at one field strength."""

    at_dbuvm: float
    smooth: bool
    sites: tuple[SiteContour, ...]
    insides: tuple[Inside, ...]
    averaged: tuple[int, int, int] = (1, 1, 1)
    """As in `sfn.reception.coverage.Coverage`."""
    left_out: tuple[LeftOut, ...] = ()
    """Sites that have no contour because they cannot be read."""
    bare_says: str = ""
    """That a directional receiving antenna is not counted; empty where there is none."""
    smooth_says: str = ""
    """Where the plain lies that stands in the place of terrain, in words; empty where a terrain is named."""

    treetops_say: str = ""
    """Where treetops and roofs count as bare ground on the map that they are of, in words; else empty."""

    @property
    def averaged_says(self) -> str:
        """What must be said where the ground was made coarser; empty where it was not."""
        return averaged_says(*self.averaged)

    @property
    def cut_says(self) -> str:
        """Whose contours the frame of the map cuts, in words; empty where it cuts none."""
        return contours_cut_says([one.name for one in self.sites if one.edge_cut])


def network_contours(
    network: Network,
    sites: Sequence[str],
    *,
    at_dbuvm: float,
    grid: Grid,
    placed: Mapping[str, Located],
    ground: Ground,
    executor: Executor,
    main: str | None = None,
    licence: tuple[Area, ...] = (),
    cache: CacheFolder | None = None,
    progress: SiteProgress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Contours:
    """Contours of some sites, and whether they stay inside the main site's, or a licence's.

    Parameters
    ----------
    network : Network
    sites : sequence of str
        Ids of the sites; empty for all.
    at_dbuvm : float
        Field strength exceeded for 50 % of time and places. [dB(uV/m)]
    grid, placed, ground, executor, cache, progress, cancelled
        As in `sfn.reception.coverage.coverage`.
    main : str, optional
        Site whose contour the others have to stay inside.
    licence : tuple of Area, optional
        Areas that every site has to stay inside.

    Raises
    ------
    PlanError
        If a site is not in the network, or the outer area has no part in the grid.
    """
    wanted = _wanted(network, sites, main)
    radiating = {t.id: t for t in transmitters(network, placed)}
    levels, averaged = {}, (1, 1, 1)
    rx_ground_m = np.full(grid.shape, np.nan)
    for n, raster in level_rasters(
        [radiating[name] for name in wanted], grid, ground=ground, rx_height_m=network.receiver.height_m,
        receiver_polarisation=received_plane(network), executor=executor, cache=cache, progress=progress,
        cancelled=cancelled,
    ):  # fmt: skip
        levels[wanted[n]] = raster.level_dbuvm + shift_on(network, radiating[wanted[n]], grid)
        averaged = coarsest(averaged, raster.averaged)
        rx_ground_m = np.where(np.isnan(rx_ground_m), raster.rx_ground_m, rx_ground_m)
    smooth = ground.terrain is None
    found = _contours(network, wanted, levels, grid, at_dbuvm=at_dbuvm, smooth=smooth, main=main, licence=licence)
    bare = on_treetops_grid(ground, grid.lat_deg, grid.lon_deg, rx_ground_m)
    return replace(found, averaged=averaged, treetops_say=grid_on_treetops(grid, bare, np.isfinite(rx_ground_m)).says)


def coverage_contours(
    network: Network,
    computed: Coverage,
    sites: Sequence[str],
    *,
    at_dbuvm: float,
    main: str | None = None,
    licence: tuple[Area, ...] = (),
) -> Contours:
    """The same out of levels that a map has already; arguments and refusals as `network_contours`."""
    wanted, computed = _wanted(network, sites, main), as_radiated(network, computed)
    inside_db = np.float32(indoor_loss_db(network))  # a contour is of the field outdoors
    rows = {name: computed.level_dbuvm[computed.sites.index(name)] + inside_db for name in wanted}
    levels = {name: row.reshape(computed.grid.shape) for name, row in rows.items()}
    found = _contours(
        network, wanted, levels, computed.grid, at_dbuvm=at_dbuvm, smooth=computed.smooth, main=main, licence=licence
    )
    return replace(found, averaged=computed.averaged, treetops_say=on_treetops_of(computed).says)


def _wanted(network: Network, sites: Sequence[str], main: str | None) -> tuple[str, ...]:
    """Ids of the sites that are asked for, the main one among them."""
    known = [s.id for s in network.sites]
    wanted = tuple(dict.fromkeys([*(sites or known), *([main] if main else [])]))
    unknown = [name for name in wanted if name not in known]
    if gone := why_left_out(network.left_out, unknown):
        raise PlanError(gone)
    if unknown:
        raise PlanError(
            [
                Problem(
                    "site",
                    f"there is no site {name!r}",
                    f"one of {', '.join(known)}",
                    code="unknown-site",
                    fields=("site",),
                    values={"site": name},
                )
                for name in unknown
            ]
        )
    return wanted


def _contours(
    network: Network,
    wanted: Sequence[str],
    levels: Mapping[str, Singles],
    grid: Grid,
    *,
    at_dbuvm: float,
    smooth: bool,
    main: str | None,
    licence: tuple[Area, ...],
) -> Contours:
    """Contours of rasters, and which of them stay inside."""
    names = {s.id: s.name for s in network.sites}
    masks = {name: levels[name] >= at_dbuvm for name in wanted}
    insides = [_inside(name, main, masks[name], masks[main], grid) for name in wanted if main and name != main]
    if licence:
        allowed = inside(licence, grid)
        insides += [_inside(name, LICENCE, masks[name], allowed, grid) for name in wanted]
    made = tuple(_contour(name, names[name], levels[name], grid, at_dbuvm) for name in wanted)
    return Contours(
        at_dbuvm=at_dbuvm,
        smooth=smooth,
        sites=made,
        insides=tuple(insides),
        left_out=network.left_out,
        bare_says=bare_says(network),
        smooth_says=smooth_said(network),
    )


def sentences(found: Contours) -> tuple[str, ...]:
    """Which sites stay inside, and where and how far the others reach out."""
    told, names = [], {one.site: one.name for one in found.sites}
    for one in found.insides:
        outer = "the licence's contour" if one.outer == LICENCE else f"the contour of {names[one.outer]}"
        if one.found.inside:
            told.append(f"{names[one.site]} stays inside {outer}")
        else:
            told.append(
                f"{names[one.site]} reaches out of {outer} by {number(one.found.farthest_m / 1000.0, 1)} km at "
                f"{one.found.lat_deg:.5f}, {one.found.lon_deg:.5f}: {number(one.found.outside_km2, 2)} km², "
                f"{number(one.found.outside_pct, 1)} % of its area"
            )
    return tuple(told)


def _contour(site: str, name: str, level: Singles, grid: Grid, at_dbuvm: float) -> SiteContour:
    """One site's areas and how much they hold."""
    above = level >= at_dbuvm
    each_km2 = np.broadcast_to(grid.pixel_area_km2[:, None], grid.shape)
    edge = bool(above[0].any() or above[-1].any() or above[:, 0].any() or above[:, -1].any())
    return SiteContour(
        site,
        name,
        contours(level, grid, at_dbuvm=at_dbuvm),
        float(each_km2[above].sum()),
        edge,
        float(each_km2[~np.isfinite(level)].sum()),
    )


def _inside(site: str, outer: str, mask: Any, allowed: Any, grid: Grid) -> Inside:
    """One site against an outer area."""
    try:
        return Inside(site, outer, overreach(mask, allowed, grid))
    except ValueError:
        what = "has no part in the area that was computed" if outer == LICENCE else "reaches this level nowhere"
        raise PlanError(
            [
                Problem(
                    outer,
                    what,
                    "bounds that hold it, or another level",
                    code="level-reached-nowhere",
                    touches=() if outer == LICENCE else (Touch(outer),),
                    fields=("level",),
                )
            ]
        ) from None

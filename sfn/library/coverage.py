"""Coverage and overlap over an area, as ``python -m sfn zones`` gives it."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sfn.answer.zones import document
from sfn.check.people import people_problems
from sfn.field.rasters import SiteProgress
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.library.frames import frame, xarray
from sfn.library.opened import Opened
from sfn.reception.coverage import coverage as levels_over, usual_pixel_m
from sfn.reception.listeners import Listeners, listeners
from sfn.reception.reach import bounds_to_the_edge
from sfn.report.stamp import Stamp, stamp
from sfn.study.compared import of_site
from sfn.study.lever_try import hung_as
from sfn.study.shares_said import shares_said
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.study.zones import Zones, zones
from sfn.terrain.credits import network_credits

THREADS_N = 2


@dataclass(frozen=True, slots=True)
class CoverageAnswer:
    """The overlap map: layers, classes with area and people, who serves what."""

    found: Zones
    tried: Tried
    listeners: Listeners
    stamp: Stamp

    @property
    def document(self) -> dict[str, Any]:
        """What ``zones --json`` prints, but for the files, of which there are none."""
        return self.with_files({})

    def with_files(self, files: Mapping[str, str]) -> dict[str, Any]:
        """What ``zones --json`` prints; `files` names the file of each layer (`sfn.answer.map_files.write_files`)."""
        served = [(name, of_site(self.found, name)) for name in self.found.coverage.sites]
        return document(self.found, files) | {
            "tried": list(self.tried.says),
            "people": self.listeners.total_people,
            "people_source": self.listeners.said,
            "credits": self.stamp.credits or None,
            "problems": [problem.as_json() for problem in people_problems(self.found.network)],
            "served": [{"site": name, "area_km2": got.area_km2, "people": got.people} for name, got in served],
        }

    @property
    def says(self) -> tuple[str, ...]:
        """What is tried, and what the figures rest on and leave out, in words."""
        levels = self.found.coverage
        said = (
            *(f"tried: {one}" for one in self.tried.says),
            *self.stamp.remarks,
            shares_said(self.found),
            f"people: {self.listeners.said}",
            self.found.uncovered_says,
            levels.averaged_says,
            self.found.treetops.says,
            "no terrain: smooth earth" if levels.smooth else "",
        )
        return tuple(one for one in said if one)

    def to_frame(self) -> Any:
        """A `pandas.DataFrame` of the classes of reception: `class`, `area_km2`, `people` (missing: not known).

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.
        """
        return frame(self.document["classes"], says=self.says, problems=[one.as_json() for one in self.tried.doubts])

    def to_xarray(self) -> Any:
        """An `xarray.Dataset` with a variable a layer over `lat` and `lon` (pixel centres on WGS84, north first).

        Each variable has `units` and `long_name`; NaN where nothing is received or the terrain has a gap. The
        dataset's attributes say which network, revision and checksum it is of, and what the figures rest on.

        Raises
        ------
        ModuleNotFoundError
            If xarray is not installed.
        """
        grid = self.found.coverage.grid
        layers = {
            layer.name: (
                ("lat", "lon"),
                layer.values.reshape(grid.shape),
                {"units": layer.unit, "long_name": layer.label},
            )
            for layer in self.found.layers
        }
        degrees = {"lat": {"units": "degrees_north"}, "lon": {"units": "degrees_east"}}
        coords = {"lat": (("lat",), grid.lat_deg, degrees["lat"]), "lon": (("lon",), grid.lon_deg, degrees["lon"])}
        attrs = self.stamp.tags() | {"sites": ",".join(self.found.coverage.sites), "says": "\n".join(self.says)}
        return xarray().Dataset(layers, coords=coords, attrs=attrs)


def coverage(
    plan: Opened,
    *,
    pixel_m: float | None = None,
    bounds_deg: tuple[float, float, float, float] | None = None,
    as_set: bool = False,
    tries: WhatIf | None = None,
    progress: SiteProgress | None = None,
) -> CoverageAnswer:
    """Coverage and overlap of a network over its own terrain.

    Parameters
    ----------
    plan : Opened
    pixel_m : float, optional
        Pixel on the ground; such that there are about 160,000 where not given. [m]
    bounds_deg : tuple of float, optional
        South, west, north, east; as far as the network is usable where not given. [degrees]
    as_set : bool
        Launches with what is set now instead of the computed settings.
    tries : WhatIf, optional
        Offsets, clocks, routes, sites not transmitting to try.
    progress : callable, optional
        Told the site, what is done and the total as it goes.

    Raises
    ------
    PlanError
        If network, terrain, area or what is tried cannot be used.
    """
    network = plan.readable
    placed, ground = place(network), plan.ground
    bounds = bounds_to_the_edge(network, placed, ground=ground) if bounds_deg is None else bounds_deg
    grid = grid_for(bounds, pixel_m=usual_pixel_m(bounds) if pixel_m is None else pixel_m)
    now = tried(network, WhatIf() if tries is None else tries, placed=placed, as_set=as_set, ground=ground)
    heard = listeners(network, grid, folder=plan.folder, anywhere=True)
    with ThreadPoolExecutor(THREADS_N) as executor:
        hung = hung_as(network, now.network)
        levels = levels_over(hung, grid, placed=now.placed, ground=ground, executor=executor, progress=progress)
        found = zones(now.network, levels, now.launches, people=heard.people, drawn=True, executor=executor)
    made_at = datetime.now(UTC)
    by = stamp(
        network, revision=None, made_at=made_at, says=now.says, cut=found.cut_says, classes=found.beside_says,
        credits=network_credits(network, folder=plan.folder, anywhere=True),
    )  # fmt: skip
    return CoverageAnswer(found, now, heard, by)

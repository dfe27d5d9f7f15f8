"""Levels of networks over grids, computed in jobs and kept in memory while maps are drawn from them."""

import contextlib
import itertools
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from cachetools import LRUCache

from sfn.check import all_problems
from sfn.check.everything import unopened
from sfn.check.review import Review, review
from sfn.errors import PlanError, Problem
from sfn.field.raster import LevelRaster
from sfn.field.rasters import CacheFolder
from sfn.geodesy.globe import FURTHEST_REACH_M
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.sites import place, within_reach
from sfn.plan import Network
from sfn.propagation.link import SweepCancelled
from sfn.reception.coverage import Coverage, coverage, coverage_key, usual_pixel_m
from sfn.reception.listeners import Listeners, listeners
from sfn.reception.radiated import as_radiated
from sfn.reception.reach import bounds_to_the_edge
from sfn.reception.weights import weighed
from sfn.solve.objective import Objective
from sfn.study.effect import Effect, effect
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.so_far import SoFar
from sfn.study.what_if import Tried
from sfn.study.zones import Zones, zones
from sfn.terrain.census import Census, census
from sfn.terrain.dem import Terrain, terrain_from_folder
from sfn.terrain.digest import load_known, save_known
from sfn.terrain.ground import Ground, open_ground
from sfn.terrain.memory import Memory
from sfn.timing import delay_table
from webapp.store.store import Saved, Store
from webapp.work.jobs import ON_DISK, CancelledError, Job, Jobs, Part, Progress
from webapp.work.kept import Kept
from webapp.work.terrains import TerrainLine, terrain_lines
from webapp.work.worked_out import WorkedOut
from webapp.work.workers import JobWorkers, Workers

KEPT_BYTES = 1_500_000_000
KEPT_LISTENERS_N = 8
KEPT_SO_FAR_N = 2
KEPT_ZONES_BYTES = 600_000_000
KEPT_EFFECTS_BYTES = 100_000_000
DISK_BYTES = 4_000_000_000
SITE_THREADS = 2
KEPT_OBJECTIVES = 2
KEPT_PROBLEMS_N = 20_000
KEPT_CENSUSES_N = 32
TELL_EVERY_S = 0.1
DIGESTS_FILE = "terrain-digests.json"
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A map that a page asks for."""

    key: str
    grid: Grid
    ground: Ground


def reaches(network: Network, grid: Grid) -> None:
    """Refuse a map that goes further from a site than a path is worked out."""
    south, west, north, east = grid.bounds_deg
    corners = ((south, south, north, north), (west, east, west, east))
    within_reach(network, place(network), *corners, most_m=FURTHEST_REACH_M, where="bounds")


class Maps:
    """Coverages by key, the least used forgotten first; rasters lie on disk too, so that forgetting costs little."""

    def __init__(self, jobs: Jobs, folder: Path, workers: Workers | None = None) -> None:
        self.executor = ThreadPoolExecutor(SITE_THREADS, thread_name_prefix="sites")
        self._jobs, self.workers = jobs, workers
        self.terrain_folder = folder / "terrain"
        self.rasters = CacheFolder(folder / "rasters", DISK_BYTES)
        self._lock = threading.Lock()
        # What is larger than all that may be kept counts as that much, and is kept alone.
        self._kept: LRUCache[str, Coverage] = LRUCache(KEPT_BYTES, lambda one: min(one.kept_bytes, KEPT_BYTES))
        self._digests_file = folder / DIGESTS_FILE
        known = load_known(self._digests_file)
        self._memory = Memory({path: held for path, held in known.items() if Path(path).is_file()})
        self._saved = dict(self._memory.digests)
        self._objectives: LRUCache[str, Objective] = LRUCache(KEPT_OBJECTIVES)
        self._so_far: dict[str, SoFar] = {}
        self._censuses: LRUCache[str, Census] = LRUCache(KEPT_CENSUSES_N)
        self._heard: LRUCache[tuple[str, Grid], Listeners] = LRUCache(KEPT_LISTENERS_N)
        self._checks: Kept[tuple[Problem, ...]] = Kept(len, most_bytes=KEPT_PROBLEMS_N, least_n=4)
        self._worked_out = WorkedOut()
        self._effects: Kept[Effect] = Kept(_effect_bytes, most_bytes=KEPT_EFFECTS_BYTES)
        self._drawing = threading.Lock()
        self._drawn: Kept[Zones] = Kept(_zones_bytes, most_bytes=KEPT_ZONES_BYTES, least_n=2)

    def ground(self, network: Network) -> Ground:
        """The ground that a document names: files in the program's terrain folder, or the ridge."""
        ground = open_ground(network, folder=self.terrain_folder, memory=self._memory)
        self._keep_digests()
        return ground

    def ground_if_open(self, network: Network) -> Ground | None:
        """The same; None where it cannot be opened, which `checked` says."""
        try:
            return self.ground(network)
        except PlanError:
            return None

    def terrains(self) -> tuple[TerrainLine, ...]:
        """Every terrain that a network may name."""
        lines = terrain_lines(self.terrain_folder, memory=self._memory)
        self._keep_digests()
        return lines

    def census(self, name: str) -> Census | None:
        """What values the files of a folder hold; None where they cannot be read."""
        source = self.opened(name)
        if source is None:
            return None
        with self._lock:
            found = self._censuses.get(source.digest)
        if found is None:
            found = census(source)
            with self._lock:
                self._censuses[source.digest] = found
        return found

    def opened(self, name: str) -> Terrain | None:
        """The files of a folder, as classes are read; None where they cannot be."""
        try:
            return terrain_from_folder(self.terrain_folder / name, memory=self._memory, blended=False)
        except PlanError:
            return None

    def checked(self, network: Network) -> tuple[Problem, ...]:
        """All that is wrong with a network on its ground, kept: pages, sheets and answers take the same."""
        today = datetime.now(UTC).date()
        doubts = () if network.reported is None else (network.reported.problems, network.reported.proofs)
        said = f"{network.model_dump_json(exclude_none=True)}{network.own_services}{today}{doubts}"
        document = sha256(said.encode()).hexdigest()
        try:
            ground = self.ground(network)
        except PlanError as refused:
            return (
                *self._checks.get((document, ""), lambda: all_problems(network, today=today)),
                *unopened(refused.problems),
            )
        return self._checks.get((document, ground.digest), lambda: all_problems(network, ground=ground, today=today))

    def standing(self, store: Store, saved: Saved) -> Network:
        """A revision as the engine reads it beside what was reported: the same record until more is."""
        return self._worked_out.standing(store, saved)

    def reviewed(self, network: Network) -> Review:
        """The one check, terrain included, and what follows for every sheet."""
        return self.worked_out("review", network, lambda: review(network, problems=self.checked(network)))

    def worked_out(self, what: str, network: Network, make: Callable[[], T], *, beside: object = None) -> T:
        """What follows from a network on its ground and today's date, kept: see `WorkedOut.of`."""
        return self._worked_out.of(what, network, self.ground_if_open(network), make, beside=beside)

    def wanted(
        self, network: Network, *, bounds: tuple[float, float, float, float] | None, pixel_m: float | None, most: int
    ) -> Wanted:
        """The grid and the key of a map; refused when it would be larger than allowed."""
        ground = self.ground(network)
        area = bounds_to_the_edge(network, place(network), ground=ground) if bounds is None else bounds
        grid = grid_for(area, pixel_m=usual_pixel_m(area) if pixel_m is None else pixel_m, most_pixels_n=most)
        reaches(network, grid)
        return Wanted(coverage_key(network, grid, ground=ground), grid, ground)

    def find(self, key: str) -> Coverage | None:
        """A coverage that is in memory."""
        with self._lock:
            return self._kept.get(key)

    def so_far(self, key: str) -> SoFar | None:
        """What is finished of a coverage that is being computed, or was until just now."""
        with self._lock:
            return self._so_far.get(key)

    def listeners(self, network: Network, grid: Grid) -> Listeners:
        """People on a grid, kept; a file is looked up in the terrain folder."""
        asked = network.listeners
        named = "" if asked is None else asked.model_dump_json()
        if asked is not None and asked.file is not None:
            path = self.terrain_folder / asked.file
            named += str(path.stat().st_mtime_ns) if path.is_file() else ""
        with self._lock:
            found = self._heard.get((named, grid))
        if found is None:
            found = listeners(network, grid, folder=self.terrain_folder)
            with self._lock:
                self._heard[named, grid] = found
        return found

    def counted(self, network: Network, grid: Grid) -> Asked:
        """Who lives on a grid and what counts more there, for the search and the sliders.

        Raises
        ------
        PlanError
            If a weight names a place that is not among the listeners.
        """
        heard = self.listeners(network, grid)
        weights = weighed(network, grid, places=heard.places)
        return Asked(people=heard.people, weights=weights, places=heard.places)

    def zones(self, network: Network, computed: Coverage, now: Tried, *, key: str, drawn: bool | None = False) -> Zones:
        """The map with what is tried, kept: picture, summary, lines and files of one try are drawn from one.

        `key` is that of the levels in `computed`; `drawn`: classes and figures by drawn shares; None: where that map is
        there already.
        """
        people = self.listeners(network, computed.grid).people
        # What is kept holds its people, so that no other array can have their id.
        about = (
            key,
            now.network.model_dump_json(exclude={"listeners", "weights"}),
            tuple(now.launches.items()),
            id(people),
            now.network.own_services,
        )

        by_shares = self._drawn.there((*about, True)) if drawn is None else drawn

        def make() -> Zones:
            """Draw it; levels drawn take all cores for seconds: one at a time, so that a fast one need not wait."""
            with self._drawing if by_shares else contextlib.nullcontext():
                return zones(
                    now.network, computed, now.launches, people=people, drawn=by_shares, executor=self.executor
                )

        return self._drawn.get((*about, by_shares), make)

    def start(self, network: Network, wanted: Wanted, *, result_url: str) -> Job | None:
        """Compute a map's levels in the background; None when they are there already."""
        if self.find(wanted.key) is not None:
            return None

        def work(progress: Progress) -> str:
            """The job."""
            self.computed(network, wanted, progress)
            return wanted.key

        title = f"Levels of {network.name}"
        return self._jobs.start(work, title=title, key=wanted.key, result_url=result_url, function=ON_DISK,
                                far=self.far)  # fmt: skip

    @property
    def far(self) -> bool:
        """Whether workers compute."""
        return self.workers is not None

    def computed(self, network: Network, wanted: Wanted, progress: Progress) -> Coverage:
        """A map's levels: those in memory, or computed now, inside a job."""
        kept = self.find(wanted.key)
        if kept is not None:
            return kept
        far = None if self.workers is None else JobWorkers.of(self.workers, progress)
        done = dict.fromkeys((site.id for site in network.sites), 0)
        names = [site.name for site in network.sites]
        on_air = network.transmitting
        so_far, told_s, read_n = SoFar(wanted.grid), 0.0, 0

        def tell(site: str, part: int, whole: int) -> None:
            """Progress of one site, counted in thousandths; not oftener than anybody can see."""
            nonlocal told_s, read_n
            read_n += part == 0
            done[site], now_s = round(1000 * part / max(whole, 1)), time.monotonic()
            if done[site] < 1000 and now_s - told_s < TELL_EVERY_S:
                return
            told_s = now_s
            count, parts = len(done), tuple(map(Part, names, done.values(), itertools.repeat(1000)))
            phase = f"{sum(part.done == 1000 for part in parts)} of {count} sites"
            if wanted.ground.terrain is not None and not any(done.values()):
                phase = f"reading terrain, block {read_n}"
            if far is not None and far.note:
                phase = f"{phase}, {far.note}"
            progress.tell(phase, done=sum(done.values()), total=1000 * count, parts=parts)

        def finished(site: str, raster: LevelRaster) -> None:
            """One more site can be shown."""
            if site in on_air:
                so_far.add(site, raster)

        with self._lock:
            self._so_far[wanted.key] = so_far
        try:
            made = coverage(
                network,
                wanted.grid,
                placed=place(network),
                ground=wanted.ground,
                executor=self.executor,
                cache=replace(self.rasters, far=far),
                progress=tell,
                cancelled=lambda: progress.cancelled,
                finished=finished,
            )
            self._keep(wanted.key, made)
        except BaseException as error:
            with self._lock:
                self._so_far.pop(wanted.key, None)
            if isinstance(error, SweepCancelled):
                raise CancelledError from None
            raise
        with self._lock:
            # A page that was just told of a picture may still ask for it: the last ones stay for a while.
            while len(self._so_far) > KEPT_SO_FAR_N:
                del self._so_far[next(iter(self._so_far))]
        return made

    def objective(self, network: Network, key: str) -> Objective | None:
        """The objective over levels in memory, kept for the sliders; None where the levels are not there.

        It counts people where the network names them, else area.
        """
        found = self.find(key)
        if found is None:
            return None
        judged = {"service", "thresholds", "frequency_mhz", "listeners", "weights", "programme"}
        radiated = network.model_dump_json(include={"sites": {"__all__": {"erp_kw", "antenna"}}})
        about = network.model_dump_json(include=judged) + radiated
        known = f"{key} {about} {found.on_air(network).tolist()} {network.own_services}"
        with self._lock:
            kept = self._objectives.get(known)
        if kept is not None:
            return kept
        found = as_radiated(network, found)
        made = network_objective(network, found, self.counted(network, found.grid), executor=self.executor)
        with self._lock:
            self._objectives[known] = made
        return made

    def effect(self, network: Network, key: str, now: Tried) -> Effect | None:
        """What a try does against the saved plan, kept; None where the levels are not in memory."""
        computed, what = self.find(key), self.objective(network, key)
        if computed is None or what is None:
            return None
        computed = as_radiated(network, computed)
        saved = delay_table(network, placed=place(network)).launches()
        counted = self.counted(network, computed.grid)
        about = (key, network.model_dump_json(), tuple(now.launches.items()), network.own_services)

        def make() -> Effect:
            """Judge both."""
            return effect(
                network, computed, what, saved, now.launches, people=counted.people, places=counted.places,
                executor=self.executor,
            )  # fmt: skip

        return self._effects.get(about, make)

    def close(self) -> None:
        """End the threads, and let go of the workers."""
        if self.workers is not None:
            self.workers.close()
        self.executor.shutdown(wait=True, cancel_futures=True)

    def _keep_digests(self) -> None:
        """Save digests that are new, so that the next start need not read every file whole; a short cut, not a duty."""
        with self._lock, contextlib.suppress(OSError):
            if self._saved != self._memory.digests:
                self._saved = dict(self._memory.digests)
                save_known(self._digests_file, self._saved)

    def _keep(self, key: str, made: Coverage) -> None:
        """Keep a coverage; the least used are forgotten where there is too much."""
        with self._lock:
            self._kept[key] = made


def _zones_bytes(made: Zones) -> int:
    """Memory of a map's layers, with as much again for what they are made of, and of levels that follow a try."""
    levels = made.coverage
    own = levels.level_dbuvm.nbytes + levels.level_1pct_dbuvm.nbytes if levels.retried else 0
    return 2 * sum(layer.values.nbytes for layer in made.layers) + own


def _effect_bytes(made: Effect) -> int:
    """Memory of a change: two times five rasters, and the change itself."""
    return 11 * made.kind.nbytes

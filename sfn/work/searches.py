"""Searches for offsets, plans of change and places of new transmitters: one function each, here and on workers.

What they look through is a `Scene`. A process that has one in memory hands it over; a worker makes its own out of
plain data, from the same kept rasters.
"""

from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

from sfn.answer.optimise_document import document
from sfn.answer.placing_document import placing_document
from sfn.answer.plans_document import plans_document
from sfn.field.rasters import CacheFolder
from sfn.geodesy.grid import Grid
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.coverage import Coverage, coverage
from sfn.reception.listeners import listeners
from sfn.reception.weights import weighed
from sfn.report.numbers import number
from sfn.solve.objective import Score
from sfn.study.optimise import optimise
from sfn.study.optimised import Asked
from sfn.study.placing import placing
from sfn.study.placing_asked import AskedMasts, masts_asked
from sfn.study.placing_found import AskedPlacing
from sfn.study.plans import plans
from sfn.study.plans_found import AskedPlans
from sfn.terrain.ground import Ground
from sfn.terrain.named import NamedGround
from sfn.work.desk import Desk
from sfn.work.rasters import grounds_of

THREADS_N = 2
Told = Callable[[str, int, int], None]
Cancelled = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Scene:
    """What a search looks through.

    Parameters
    ----------
    network : Network
    computed : Coverage
        Of this network.
    known : Asked
        People, weights and places on its grid; the rest does not count.
    ground : Ground
    executor : Executor
        Threads.
    cache : CacheFolder
        Where rasters are kept.
    """

    network: Network
    computed: Coverage
    known: Asked
    ground: Ground
    executor: Executor
    cache: CacheFolder

    def counted(self, asked: Asked) -> Asked:
        """What is asked for, with who lives here."""
        return replace(asked, people=self.known.people, weights=self.known.weights, places=self.known.places)


@dataclass(frozen=True, slots=True)
class AskedPlaces:
    """What a search for places is asked: the masts, and what for."""

    masts: AskedMasts
    wishes: AskedPlacing


@dataclass(frozen=True, slots=True)
class SearchAsked:
    """A search as a worker is asked for it.

    Parameters
    ----------
    network : Network
        With all that goes with the record: services, reports, sites left out.
    grid : Grid
    ground : NamedGround
    asked : Asked, AskedPlans or AskedPlaces
        Without people: they are counted where it is worked at.
    most_bytes : int
        Of all rasters that are kept.
    """

    network: Network
    grid: Grid
    ground: NamedGround
    asked: Any
    most_bytes: int


def offsets(scene: Scene, asked: Asked, told: Told, cancelled: Cancelled) -> dict[str, Any]:
    """Offsets that serve most, as the command ``optimise`` answers; cancelled, the best so far.

    Raises
    ------
    PlanError
        As `sfn.study.optimise.optimise`.
    """
    counted = scene.counted(asked)
    found = optimise(
        scene.network, scene.computed, counted, placed=place(scene.network), ground=scene.ground,
        executor=scene.executor, progress=_best(counted, told), cancelled=cancelled,
    )  # fmt: skip
    return document(found) | {"seed": asked.seed}


def plans_of_change(scene: Scene, asked: AskedPlans, told: Told, cancelled: Cancelled) -> dict[str, Any]:
    """Plans of change, as ``optimise --vary`` answers; cancelled, the best so far.

    Raises
    ------
    PlanError
        As `sfn.study.plans.plans`.
    """
    counted = scene.counted(asked.counted)
    found = plans(
        scene.network, scene.computed, replace(asked, counted=counted), placed=place(scene.network),
        ground=scene.ground, executor=scene.executor, progress=_best(counted, told), cancelled=cancelled,
    )  # fmt: skip
    return plans_document(found)


def places(scene: Scene, asked: AskedPlaces, told: Told, cancelled: Cancelled) -> dict[str, Any]:
    """Places for a new transmitter, as ``placing`` answers; cancelled, those looked at so far.

    Raises
    ------
    PlanError
        As `sfn.study.placing.placing`.
    """
    counted, where = scene.counted(asked.wishes.counted), place(scene.network)

    def tell(phase: str, part: float) -> None:
        told(phase, round(1000 * part), 1000)

    chosen, said = masts_asked(
        scene.network, scene.computed, asked.masts, counted, placed=where, ground=scene.ground,
        executor=scene.executor, progress=tell, cancelled=cancelled,
    )  # fmt: skip
    found = placing(
        scene.network, scene.computed, chosen, replace(asked.wishes, counted=counted), placed=where,
        ground=scene.ground, executor=scene.executor, cache=scene.cache, said=said, progress=tell, cancelled=cancelled,
    )  # fmt: skip
    return placing_document(found)


SEARCHES: Mapping[str, Callable[[Scene, Any, Told, Cancelled], dict[str, Any]]] = {
    "offsets": offsets,
    "plans": plans_of_change,
    "placing": places,
}


def on_worker(name: str) -> Callable[[SearchAsked, Desk], dict[str, Any]]:
    """The search of a name as a worker does it."""

    def search(asked: SearchAsked, desk: Desk) -> dict[str, Any]:
        with ThreadPoolExecutor(THREADS_N) as executor:
            network, grid = asked.network, asked.grid
            ground = grounds_of(desk.terrain_folder).opened(asked.ground)
            cache = CacheFolder(desk.rasters_folder, asked.most_bytes)
            desk.tell("levels", done=0, total=0)
            computed = coverage(
                network, grid, placed=place(network), ground=ground, executor=executor, cache=cache,
                cancelled=desk.cancelled,
            )  # fmt: skip
            heard = listeners(network, grid, folder=desk.terrain_folder)
            weights = weighed(network, grid, places=heard.places)
            known = Asked(people=heard.people, weights=weights, places=heard.places)
            scene = Scene(network, computed, known, ground, executor, cache)
            return SEARCHES[name](
                scene, asked.asked, lambda phase, done, total: desk.tell(phase, done=done, total=total), desk.cancelled
            )

    return search


def _best(counted: Asked, told: Told) -> Callable[[object, Score, str, float], None]:
    """What is told of the best so far."""
    unit = "people" if counted.counts_people else "km2"

    def tell(_offsets: object, best: Score, phase: str, part: float) -> None:
        told(f"{phase}: {number(best.without_service)} {unit} without service so far", round(1000 * part), 1000)

    return tell

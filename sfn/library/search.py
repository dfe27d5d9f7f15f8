"""Timing offsets that serve most, as ``python -m sfn optimise`` gives them."""

from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

from sfn.answer.optimise_document import document
from sfn.answer.optimise_nights import nights_document
from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.field.rasters import SiteProgress
from sfn.field.shift import shift_says
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.position import Located
from sfn.geodesy.sites import place
from sfn.library.frames import frame
from sfn.library.opened import Opened
from sfn.plan import Network
from sfn.plan.left_out import left_out_says
from sfn.reception.coverage import Coverage, coverage as levels_over, usual_pixel_m
from sfn.reception.listeners import Listeners, listeners
from sfn.reception.on_treetops import on_treetops_of
from sfn.reception.reach import bounds_to_the_edge
from sfn.reception.weights import weighed
from sfn.solve.descent import Doubles, Told
from sfn.solve.objective import Score
from sfn.study.optimise import held_of
from sfn.study.optimise_nights import in_nights
from sfn.study.optimised import Asked, Optimised
from sfn.systems.fm_carried import heard_programme

THREADS_N = 2


@dataclass(frozen=True, slots=True)
class OptimiseAnswer:
    """Offsets, what they do before and after, how sure, what else would help."""

    nights: tuple[Optimised, ...]
    """The plan of each night; one where it was not asked for in nights."""
    levels: Coverage
    listeners: Listeners
    in_nights: bool
    credits_say: str = ""
    """Whose data its ground and people are; empty where nothing says."""

    @property
    def found(self) -> Optimised:
        """The plan of the first night."""
        return self.nights[0]

    @property
    def document(self) -> dict[str, Any]:
        """What ``optimise --json`` prints."""
        nights = {"nights": nights_document(list(self.nights))} if self.in_nights else {}
        network = self.found.planned
        grid: Grid = self.levels.grid
        return (
            document(self.found)
            | nights
            | {"seed": self.found.asked.seed, "pixel_m": grid.pixel_m, "smooth_earth": self.levels.smooth}
            | {"smooth_earth_says": smooth_says(network) or None, "terrain_averaged": self.levels.averaged_says or None}
            | {"treetops_say": on_treetops_of(self.levels).says or None}
            | {"level_shifts": shift_says(network) or None, "programme": heard_programme(network) or None}
            | {"credits": self.credits_say}
        )

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the network with these offsets."""
        return tuple(self.found.delays.problems)

    @property
    def says(self) -> tuple[str, ...]:
        """What was counted, and what the figures rest on and leave out, in words."""
        found = self.found
        km2 = found.left_out_km2
        said = (
            f"nothing to find: {found.nothing_to_find}" if found.nothing_to_find else "",
            f"people: {self.listeners.said}",
            *found.rests_on,
            *(f"weighed: {line}" for line in (found.asked.weights.said if found.asked.weights else ())),
            "the time ran out before every step of a device was seen" if not found.settled else "",
            f"not covered by the terrain, and left out: {km2:.1f} km2" if km2 > 0 else "",
            self.levels.averaged_says,
            on_treetops_of(self.levels).says,
            "no terrain: smooth earth" if self.levels.smooth else "",
            shift_says(found.planned),
            left_out_says(found.network.left_out),
            self.credits_say,
        )
        return tuple(one for one in said if one)

    def to_frame(self) -> Any:
        """A `pandas.DataFrame`, a row a site and route as in `delay_table`, with the offsets that were found.

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.
        """
        answer = self.document
        return frame(answer["settings"], says=self.says, problems=answer["problems"])


def optimise(
    plan: Opened,
    *,
    objective: Literal["people", "area"] | None = None,
    hold: Iterable[str] = (),
    max_offset_us: float | None = None,
    max_move_us: float | None = None,
    from_set: bool = False,
    max_changed: int | None = None,
    nights: int | None = None,
    seed: int = 1,
    budget_s: float = 60.0,
    pixel_m: float | None = None,
    progress: SiteProgress | None = None,
) -> OptimiseAnswer:
    """Look for the timing offsets that serve most. Nothing is changed: a person saves them, or not.

    Parameters
    ----------
    plan : Opened
    objective : {"people", "area"}, optional
        What is counted; people where they are known.
    hold : iterable of str
        Ids of sites to leave alone.
    max_offset_us, max_move_us : float, optional
        Greatest offset (50; OFDM: the guard interval), greatest change against the saved one; as planned, before a
        device rounds it by up to half its step. [us]
    from_set : bool
        Count that change from what the devices are set to.
    max_changed : int, optional
        How many sites may get another setting.
    nights : int, optional
        Look for the plan in so many nights of `max_changed`.
    seed : int
        The same one gives the same answer.
    budget_s : float
        Time for each search: levels, the steps of devices, drawn tolerances and what else would help take theirs
        besides. [s]
    pixel_m : float, optional
        Pixel on the ground; such that there are about 160,000 where not given. [m]
    progress : callable, optional
        Told the site or what is being worked out, what is done and the total as it goes.

    Raises
    ------
    PlanError
        If an argument or the network cannot be used, or people are to be counted and not known.
    """
    refuse(max_offset_us, max_move_us, max_changed, nights, seed, budget_s)
    if from_set and max_move_us is None:
        expected = "--max-move-us beside it, or no --from-set"
        raise PlanError([Problem("--from-set", "does nothing without --max-move-us", expected, code="option-idle")])
    network = plan.readable
    placed, ground = place(network), plan.ground
    grid, heard = counted_on(plan, objective, pixel_m, placed=placed)
    asked = Asked(
        people=heard.people,
        by_area=objective == "area",
        weights=weighed(network, grid, places=heard.places),
        places=heard.places,
        held=held_of(list(hold)),
        most_us=max_offset_us,
        most_move_us=max_move_us,
        from_set=from_set,
        most_changed=max_changed,
        seed=seed,
        budget_s=budget_s,
    )
    with ThreadPoolExecutor(THREADS_N) as executor:
        levels = levels_over(network, grid, placed=placed, ground=ground, executor=executor, progress=progress)
        found = in_nights(
            network, levels, asked, placed=placed, nights=nights or 1, ground=ground, executor=executor,
            progress=None if progress is None else phases(progress),
        )  # fmt: skip
    return OptimiseAnswer(tuple(found), levels, heard, in_nights=nights is not None, credits_say=plan.credits_say)


def counted_on(
    plan: Opened, objective: Literal["people", "area"] | None, pixel_m: float | None, *, placed: Mapping[str, Located]
) -> tuple[Grid, Listeners]:
    """The grid that a search counts on, and the people there.

    Raises
    ------
    PlanError
        If people are to be counted and not known.
    """
    bounds = bounds_to_the_edge(plan.readable, placed, ground=plan.ground)
    grid = grid_for(bounds, pixel_m=usual_pixel_m(bounds) if pixel_m is None else pixel_m)
    heard = listeners(plan.readable, grid, folder=plan.folder, anywhere=True)
    if objective == "people" and heard.people is None:
        expected = "listeners in the document, or --objective area"
        raise PlanError([Problem("--objective", heard.said, expected, code="no-listeners")])
    return grid, heard


def resting_on(network: Network, levels: Coverage, heard: Listeners, *, credits_say: str) -> dict[str, Any]:
    """What the document of a search says of the people and the ground that it rests on."""
    assert isinstance(levels.grid, Grid)
    return {
        "people_said": heard.said,
        "pixel_m": levels.grid.pixel_m,
        "smooth_earth": levels.smooth,
        "smooth_earth_says": smooth_says(network) or None,
        "terrain_averaged": levels.averaged_says or None,
        "treetops_say": on_treetops_of(levels).says or None,
        "level_shifts": shift_says(network) or None,
        "credits": credits_say,
    }


def phases(progress: SiteProgress) -> Told:
    """A search's progress as that of sites, in hundredths of each phase."""

    def told(launches: Doubles, score: Score, phase: str, part: float) -> None:  # noqa: ARG001  as searches tell it
        progress(phase, round(100 * part), 100)

    return told


def refuse(
    max_offset_us: float | None,
    max_move_us: float | None,
    max_changed: int | None,
    nights: int | None,
    seed: int,
    budget_s: float,
) -> None:
    """Arguments that cannot be used."""
    named_us = (("max-offset-us", max_offset_us), ("max-move-us", max_move_us))
    nights_fit = nights is None or (max_changed is not None and 1 <= nights <= 7)
    wrong = [
        *((name, value, "0 to 100 000 us") for name, value in named_us if value is not None and not 0 <= value <= 1e5),
        *([] if 0 < budget_s <= 86_400 else [("budget-s", budget_s, "above 0, at most 86 400 s")]),
        *([] if seed >= 0 else [("seed", seed, "0 or more")]),
        *([] if nights_fit else [("nights", nights, "1 to 7, together with max-changed")]),
        *([] if max_changed is None or max_changed >= 0 else [("max-changed", max_changed, "0 or more sites")]),
    ]
    if wrong:
        problems = (
            Problem(f"--{name}", f"cannot be {value!r}", expected, code="out-of-range")
            for name, value, expected in wrong
        )
        raise PlanError(list(problems))

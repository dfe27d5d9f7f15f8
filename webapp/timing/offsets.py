"""Offsets: found by a search in a job, argued with by hand, saved when someone accepts them."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.geodesy.sites import place
from sfn.plan import Network, Weight
from sfn.plan.number_text import number_in
from sfn.reception.on_treetops import ground_says
from sfn.study.by_hand import Slider, plan_reason, sliders
from sfn.study.layers import Offered, offered
from sfn.study.optimise import held_of
from sfn.study.optimised import Asked
from sfn.study.weights import weight_shapes
from sfn.systems.of_network import service_of
from webapp.config.addresses import Room, to
from webapp.forms.weights import EMPTY
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import save
from webapp.shell.site_marks import site_marks
from webapp.standing.tries import changed_document
from webapp.timing.asked_for import asked_for
from webapp.work.jobs import Function, Job, Jobs, JobView, Progress, kept_typed
from webapp.work.maps import Maps, Wanted
from webapp.work.searches import searched

router = Room("offsets")
USUAL = {
    "count": "people", "budget_s": "20", "most_us": "", "most_move_us": "", "move_from": "saved", "most_changed": "",
    "seed": "1", "hold": "",
}  # fmt: skip
MOST_PLACES_OFFERED = 500


@dataclass(frozen=True, slots=True)
class WeightLine:
    """One weight of the document: as it is, and in words."""

    weight: Weight
    said: str


@dataclass(frozen=True, slots=True)
class OffsetsPage(Context):
    """Search for offsets, what it found, the offsets by hand, and what counts."""

    TEMPLATE: ClassVar[str] = "timing/offsets.html"
    TAB: ClassVar[str] = "offsets"
    network: NetworkHead
    """Which network, in which revision."""
    sliders: tuple[Slider, ...]
    """A range for each site."""
    typed: dict[str, str]
    """What was typed into the search's form, or its usual values."""
    job: JobView | None
    """The search, while it runs or where it failed."""
    answer: dict[str, Any] | None
    """What it found, as the command answers it."""
    names: dict[str, str]
    """Names of the sites."""
    reason: str
    """Filled in where the offsets are saved."""
    key: str
    """Of the levels, where they are in memory; empty otherwise."""
    layers: dict[str, Offered]
    """The overlap map's layers, by name."""
    drawn: dict[str, Any]
    """Sites, weights and bounds, for the map."""
    weights: tuple[WeightLine, ...]
    """What counts more or less."""
    new_weight: dict[str, str]
    """What was typed into the form for one more."""
    places: tuple[str, ...]
    """Names of the places that a weight may be about, the largest first."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_known: bool
    """Whether the network names people to count."""
    ofdm: bool
    """Whether the service is an OFDM one."""
    smooth: bool
    """Whether no terrain is named."""
    smooth_says: str
    """Where the plain lies that stands in the place of terrain, in words; empty where a terrain is named."""
    averaged_says: str
    """How terrain or cover behind the levels was made coarser, in words; empty where it is as in the files."""
    stale: bool
    """Whether what was found belongs to an earlier revision."""
    problems: tuple[Problem, ...]
    """What keeps the search from running, or a weight from being saved."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a search leaves in its job: the answer, what was asked, and which revision it is of."""

    answer: dict[str, Any]
    asked: Asked
    typed: dict[str, str]
    revision: int


@dataclass(frozen=True, slots=True)
class Shown:
    """What a page shows besides the network: a job, what was typed, what is wrong."""

    job: Job | None = None
    problems: tuple[Problem, ...] = ()
    typed: dict[str, str] | None = None
    new_weight: dict[str, str] | None = None


@router.get("/networks/{network_id}/offsets")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, found: str = ""
) -> Response:
    """The form, the running search, or what it found."""
    job = jobs.find(found) if found else None
    problems = (
        (Problem("found", "that search is no longer remembered", "a new one", code="no-longer-in-memory"),)
        if found and not job
        else ()
    )
    return offsets_page(request, opened, maps, settings.limits.grid_points, Shown(job, problems))


@router.post("/networks/{network_id}/offsets/find")
def find(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Start the search, or only compute the levels that the sliders need."""
    typed = {name: form.get(name, "").strip() for name in USUAL}
    typed["hold"] = ",".join(s.id for s in opened.network.sites if form.get(f"hold-{s.id}"))
    most = settings.limits.grid_points
    try:
        asked = _asked(typed)
        wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=most)
        if form.get("only") == "levels":
            job = maps.start(opened.network, wanted, result_url=to("offsets.show", opened.head.id))
        else:
            job = _start(opened, maps, jobs, wanted, asked, typed)
    except PlanError as error:
        shown = Shown(problems=error.problems, typed=typed)
        return offsets_page(request, opened, maps, most, shown, status=422)
    return RedirectResponse(to("offsets.show", opened.head.id, found=job.id if job else ""), 303)


@router.post("/networks/{network_id}/offsets/accept")
def accept(request: Request, opened: ReadableDep, store: StoreDep, form: FormDep) -> Response:
    """Save offsets as a new revision, with who and why."""
    author, reason = form.get("author", "").strip(), form.get("reason", "").strip()
    if not author or not reason:
        raise RefusedError(
            422,
            Problem("author", "a save needs a name and a reason", "yours", code="author-missing", fields=("author",)),
        )
    changed = changed_document(opened.document, form)
    save(request, store, opened, changed, form, author=author, reason=reason)
    notice(request, "Saved as a new revision. Nothing is set on any device: the sheets say what to set.")
    return RedirectResponse(to("delays.show", opened.head.id), 303)


def _start(opened: Opened, maps: Maps, jobs: JobsDep, wanted: Wanted, asked: Asked, typed: dict[str, str]) -> Job:
    """The search as a job; a cancelled one still answers with the best it had."""
    network, revision = opened.network, opened.head.revision.number

    def work(progress: Progress) -> Plan:
        return Plan(searched(FUNCTION, maps, network, wanted, asked, progress), asked, typed, revision)

    key = f"offsets {opened.head.id} {revision} {wanted.key} {sorted(typed.items())} {network.own_services}"
    return jobs.start(
        work,
        title=f"Offsets of {network.name}",
        key=key,
        result_url=lambda job_id: to("offsets.show", opened.head.id, found=job_id),
        far=maps.far,
        function=FUNCTION,
        asked=asked_for(opened, typed),
    )


FUNCTION = "offsets"
KEPT = Function(
    plain=lambda plan: {"answer": plan.answer, "typed": plan.typed, "revision": plan.revision},
    revived=lambda kept: _revived(kept["answer"], {**USUAL, **kept["typed"]}, kept["revision"]),
)


def _revived(answer: dict[str, Any], typed: dict[str, str], revision: int) -> Plan:
    """What an earlier process found; a field that its form did not have is as usual."""
    return Plan(answer, _asked(typed), typed, revision)


def again(opened: Opened, maps: Maps, jobs: Jobs, typed: dict[str, str], most: int) -> Job:
    """The search that was typed, of the newest revision."""
    wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=most)
    whole = {**USUAL, **typed}
    return _start(opened, maps, jobs, wanted, _asked(whole), whole)


def offsets_page(
    request: Request, opened: Opened, maps: Maps, most: int, shown: Shown, *, status: int = 200
) -> Response:
    """The page in whatever state it is."""
    network, job, problems = opened.network, shown.job, shown.problems
    plan = job.result if job is not None and isinstance(job.result, Plan) else None
    stale = plan is not None and plan.revision != opened.head.revision.number
    ranges: tuple[Slider, ...] = ()
    said: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    key, drawn, people_said = "", {}, ""
    try:
        ranges = _sliders(network, plan)
        wanted = maps.wanted(network, bounds=None, pixel_m=None, most=most)
        key = wanted.key
        heard = maps.listeners(network, wanted.grid)
        places, people_said = _largest(heard.places), heard.said
        drawn = _drawn(network, wanted, weight_shapes(network, heard.places))
        drawn["ground"] = to("zones.ground", opened.head.id) if network.terrain is not None else ""
        weights = maps.counted(network, wanted.grid).weights
        said = weights.said if weights else ()
    except PlanError as error:
        problems += error.problems
    computed = maps.find(key) if key else None
    ready = computed is not None
    finished = job is not None and job.state == "finished"
    context = OffsetsPage(
        network=opened.head,
        sliders=ranges,
        typed=shown.typed or (plan.typed if plan else {**USUAL, **kept_typed(job)}),
        job=job.view() if job is not None and not finished else None,
        answer=plan.answer if plan else None,
        names={site.id: site.name for site in network.whole.sites},
        reason=plan_reason(plan.answer) if plan else "",
        key=key if ready else "",
        layers=offered(network) if ready else {},
        drawn=drawn,
        weights=tuple(map(WeightLine, network.weights or (), said)) if said else _bare(network),
        new_weight=shown.new_weight or EMPTY,
        places=places,
        people_said=people_said,
        people_known=network.listeners is not None,
        ofdm=service_of(network).kind == "ofdm",
        smooth=network.terrain is None,
        smooth_says=smooth_says(network),
        averaged_says=ground_says(computed),
        stale=stale,
        problems=problems,
    )
    return page(request, context, status=status)


def _sliders(network: Network, plan: Plan | None) -> tuple[Slider, ...]:
    """Ranges as the search had them; where they fit no longer, the usual ones."""
    placed = place(network)
    if plan is None:
        return sliders(network, placed=placed, asked=Asked())
    offsets = plan.answer["offsets"]
    try:
        return sliders(network, placed=placed, asked=plan.asked, found_us=offsets)
    except PlanError:
        return sliders(network, placed=placed, asked=Asked(), found_us=offsets)


def _bare(network: Network) -> tuple[WeightLine, ...]:
    """Weights by their names, where nothing more can be said of them."""
    return tuple(WeightLine(weight, weight.name) for weight in network.weights or ())


def _largest(places: tuple[Any, ...]) -> tuple[str, ...]:
    """Names of places, the largest first."""
    return tuple(dict.fromkeys(p.name for p in sorted(places, key=lambda p: -p.people)[:MOST_PLACES_OFFERED]))


def _drawn(network: Network, wanted: Wanted, weights: list[dict[str, Any]]) -> dict[str, Any]:
    """What the map draws before anything is computed."""
    south, west, north, east = wanted.grid.bounds_deg
    return {"bounds": [[south, west], [north, east]], "sites": site_marks(network), "weights": weights}


def _asked(typed: dict[str, str]) -> Asked:
    """The search as typed.

    Raises
    ------
    PlanError
        If a field is not a number in its range.
    """
    changed, moved = typed["most_changed"], typed["most_move_us"]
    return Asked(
        by_area=typed["count"] == "area",
        held=held_of([typed["hold"]]),
        most_us=_typed("most_us", typed["most_us"], 0, 10_000, "us") if typed["most_us"] else None,
        most_move_us=_typed("most_move_us", moved, 0, 10_000, "us") if moved else None,
        from_set=typed["move_from"] == "set",
        most_changed=int(_typed("most_changed", changed, 0, 500, "sites")) if changed else None,
        seed=int(_typed("seed", typed["seed"], 0, 1e9, "as a whole number")),
        budget_s=_typed("budget_s", typed["budget_s"], 1, 3600, "s"),
    )


def _typed(name: str, text: str, least: float, greatest: float, unit: str) -> float:
    """A number in its range."""
    try:
        return number_in(text, least=least, greatest=greatest)
    except ValueError as error:
        raise PlanError(
            [Problem(name, str(error), f"{least:g} to {greatest:g} {unit}", code="not-a-number", fields=(name,))]
        ) from None

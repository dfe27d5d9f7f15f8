"""Offsets: found by a search in a job, argued with by hand, saved when someone accepts them."""

from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from sfn.answer.by_hand import curve, plan_reason, sliders, tried_score
from sfn.answer.optimise import Asked, held_of, optimise
from sfn.answer.optimise_document import document
from sfn.errors import PlanError, Problem, in_range
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.report.numbers import number
from sfn.solve.objective import Objective, Score
from webapp import addresses
from webapp.contexts.offsets import OffsetsHand, OffsetsPage
from webapp.dependencies import FormDep, JobsDep, MapsDep, NetworkDep, Opened, SettingsDep, StoreDep
from webapp.jobs import Job, Progress
from webapp.maps import Maps, Wanted
from webapp.problems import RefusedError
from webapp.render import html, notice, page
from webapp.tries import TriesDep, changed_document

router = APIRouter(include_in_schema=False)
USUAL = {"count": "people", "budget_s": "20", "most_us": "", "most_changed": "", "seed": "1", "hold": ""}


@dataclass(frozen=True, slots=True)
class Plan:
    """What a search leaves in its job: the answer, and which revision it is of."""

    answer: dict[str, Any]
    typed: dict[str, str]
    revision: int


@router.get("/networks/{network_id}/offsets")
def show(
    request: Request, opened: NetworkDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, found: str = ""
) -> Response:
    """The form, the running search, or what it found."""
    job = jobs.find(found) if found else None
    problems = (Problem("found", "that search is no longer remembered", "a new one"),) if found and not job else ()
    return _page(request, opened, maps, settings.limits.grid_points, job=job, problems=problems)


@router.post("/networks/{network_id}/offsets/find")
def find(
    request: Request, opened: NetworkDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Start the search."""
    typed = {name: form.get(name, "").strip() for name in USUAL}
    typed["hold"] = ",".join(s.id for s in opened.network.sites if form.get(f"hold-{s.id}"))
    try:
        asked = _asked(typed)
        wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=settings.limits.grid_points)
        job = _start(opened, maps, jobs, wanted, asked, typed)
    except PlanError as error:
        most = settings.limits.grid_points
        return _page(request, opened, maps, most, problems=error.problems, typed=typed, status=422)
    return RedirectResponse(addresses.offsets(opened.head.id, job.id), 303)


@router.get("/networks/{network_id}/offsets/{key}/numbers")
def numbers(request: Request, opened: NetworkDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """What the sliders' offsets do: a piece of the page."""
    what = _objective(opened.network, maps, key)
    placed = place(opened.network)
    now, tried = (
        tried_score(opened.network, what, offsets, placed=placed, executor=maps.executor)
        for offsets in ({}, tries.offsets_us)
    )
    return HTMLResponse(html(request, OffsetsHand(now, tried, what.unit)))


@router.get("/networks/{network_id}/offsets/{key}/curve.svg")
def site_curve(
    opened: NetworkDep, maps: MapsDep, key: str, site: str, tries: TriesDep, best: float | None = None
) -> Response:
    """The objective over one site's offset."""
    what = _objective(opened.network, maps, key)
    if site not in what.sites:
        raise RefusedError(404)
    text = curve(
        opened.network, what, tries.offsets_us, site, placed=place(opened.network), best_us=best,
        executor=maps.executor,
    )  # fmt: skip
    return Response(text, media_type="image/svg+xml")


@router.post("/networks/{network_id}/offsets/accept")
def accept(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Save offsets as a new revision, with who and why."""
    author, reason = form.get("author", "").strip(), form.get("reason", "").strip()
    if not author or not reason:
        raise RefusedError(422, Problem("author", "a save needs a name and a reason", "yours"))
    changed = changed_document(opened.document, form)
    store.save(opened.head.id, changed, base_revision=int(form.get("base", "0")), author=author, reason=reason)
    request.session["author"] = author
    notice(request, "Saved as a new revision. Nothing is set on any device: the sheets say what to set.")
    return RedirectResponse(addresses.delays(opened.head.id), 303)


def _start(opened: Opened, maps: Maps, jobs: JobsDep, wanted: Wanted, asked: Asked, typed: dict[str, str]) -> Job:
    """The search as a job; a cancelled one still answers with the best it had."""
    network, revision = opened.network, opened.head.revision.number

    def work(progress: Progress) -> Plan:
        computed = maps.computed(network, wanted, progress)
        placed = place(network)
        known = maps.counted(network, wanted.grid)
        counted = replace(asked, people=known.people, weights=known.weights, places=known.places)
        unit = "people" if counted.counts_people else "km2"

        def tell(_offsets: object, best: Score, phase: str, part: float) -> None:
            if not progress.cancelled:  # telling would end the job without its best
                said = f"{phase}: {number(best.without_service)} {unit} without service so far"
                progress.tell(said, done=round(1000 * part), total=1000)

        found = optimise(
            network, computed, counted, placed=placed, executor=maps.executor, progress=tell,
            cancelled=lambda: progress.cancelled,
        )  # fmt: skip
        return Plan(document(found) | {"seed": asked.seed}, typed, revision)

    key = f"offsets {opened.head.id} {revision} {wanted.key} {sorted(typed.items())}"
    job = jobs.start(work, title=f"Offsets of {network.name}", key=key)
    job.result_url = addresses.offsets(opened.head.id, job.id)
    return job


def _page(
    request: Request, opened: Opened, maps: Maps, most: int, *, job: Job | None = None,
    problems: tuple[Problem, ...] = (), typed: dict[str, str] | None = None, status: int = 200,
) -> Response:  # fmt: skip
    """The page in whatever state it is."""
    network = opened.network
    plan = job.result if job is not None and isinstance(job.result, Plan) else None
    view = job.view() if job is not None and plan is None else None
    key, ranges = "", ()
    try:
        ranges = sliders(network, placed=place(network), asked=Asked())
        key = maps.wanted(network, bounds=None, pixel_m=None, most=most).key
    except PlanError as error:
        problems += error.problems
    stale = plan is not None and plan.revision != opened.head.revision.number
    context = OffsetsPage(
        network=opened.head,
        sliders=ranges,
        typed=typed or (plan.typed if plan else USUAL),
        job=view,
        answer=plan.answer if plan else None,
        names={site.id: site.name for site in network.sites},
        reason=plan_reason(plan.answer) if plan else "",
        key=key if key and maps.find(key) is not None else "",
        smooth=network.terrain is None,
        people_known=network.listeners is not None,
        stale=stale,
        problems=problems,
    )
    return page(request, context, status=status)


def _asked(typed: dict[str, str]) -> Asked:
    """The search as typed.

    Raises
    ------
    PlanError
        If a field is not a number in its range.
    """
    changed = typed["most_changed"]
    return Asked(
        by_area=typed["count"] == "area",
        held=held_of([typed["hold"]]),
        most_us=_typed("most_us", typed["most_us"], 0, 10_000, "us") if typed["most_us"] else None,
        most_changed=int(_typed("most_changed", changed, 0, 500, "sites")) if changed else None,
        seed=int(_typed("seed", typed["seed"], 0, 1e9, "as a whole number")),
        budget_s=_typed("budget_s", typed["budget_s"], 1, 3600, "s"),
    )


def _typed(name: str, text: str, least: float, greatest: float, unit: str) -> float:
    """A number in its range."""
    try:
        return in_range(name, float(text.replace(",", ".")), least=least, greatest=greatest, unit=unit)
    except ValueError:
        wanted = f"{least:g} to {greatest:g} {unit}"
        raise PlanError([Problem(name, f"cannot be {text!r}", wanted)]) from None


def _objective(network: Network, maps: Maps, key: str) -> Objective:
    """The objective over levels in memory."""
    what = maps.objective(network, key)
    if what is None:
        raise RefusedError(404, Problem("offsets", "these levels are no longer in memory", "the search run again"))
    if what.sites != tuple(site.id for site in network.sites):
        raise RefusedError(409, Problem("offsets", "the network has other sites now", "the page opened again"))
    return what

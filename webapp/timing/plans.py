"""Plans of change: offsets and levers searched together in a job; one is taken up as a revision, or none."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.plan import Network
from sfn.reception.on_treetops import ground_says
from sfn.study.optimised import Asked
from sfn.study.plan_saved import plan_reason, radiates_otherwise, tried_of, with_plan
from sfn.study.plans_found import PLANS_CAUTION, AskedPlans
from webapp.config.addresses import Room, to
from webapp.config.limits import whole_number
from webapp.forms.plans_typed import PLAN_LABELS, asked_of, pattern_sites, typed_of, usual_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.standing.tries import query_of
from webapp.timing.asked_for import asked_for
from webapp.work.jobs import Function, Job, Jobs, JobView, Progress, kept_typed
from webapp.work.maps import Maps, Wanted
from webapp.work.searches import searched

router = Room("plans")


@dataclass(frozen=True, slots=True)
class PlanSite:
    """A site in the form."""

    id: str
    name: str
    own: str
    """What the document lets change there, in words; empty where it says nothing."""
    pattern: bool
    """Whether it has a pattern that others may take."""


@dataclass(frozen=True, slots=True)
class PlansPage(Context):
    """The search for plans of change, and what it found."""

    TEMPLATE: ClassVar[str] = "timing/plans.html"
    TAB: ClassVar[str] = "plans"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[PlanSite, ...]
    """Sites of the form."""
    typed: dict[str, str]
    """What was typed, or the usual values."""
    job: JobView | None
    """The search, while it runs or where it failed."""
    answer: dict[str, Any] | None
    """What it found, as the command answers it."""
    found: str
    """The search that found it; empty where there is none."""
    maps: tuple[str, ...]
    """Addresses of the overlap map, a plan each; empty where a plan puts a site on air that is not transmitting."""
    reasons: tuple[str, ...]
    """What is proposed as the reason of taking each plan up."""
    licensed: tuple[bool, ...]
    """Whether something is radiated otherwise, plan by plan."""
    names: dict[str, str]
    """Names of the sites."""
    licences: tuple[str, ...]
    """Names of the document's licence contours."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_known: bool
    """Whether the network names people to count."""
    caution: str
    """What must be thought of before anything is changed."""
    smooth: bool
    """Whether no terrain is named."""
    smooth_says: str
    """Where the plain lies that stands in the place of terrain; empty where a terrain is named."""
    averaged_says: str
    """How the ground behind the levels was made coarser, or is of treetops, in words; empty where neither."""
    stale: bool
    """Whether what was found belongs to an earlier revision."""
    problems: tuple[Problem, ...]
    """What keeps the search from running."""
    labels: dict[str, str]
    """What the page calls the fields of its form."""


@dataclass(frozen=True, slots=True)
class FoundPlans:
    """What a search leaves in its job: the answer, what was typed, and which revision it is of."""

    answer: dict[str, Any]
    typed: dict[str, str]
    revision: int


@router.get("/networks/{network_id}/plans")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, found: str = ""
) -> Response:
    """The form, the running search, or what it found."""
    job = jobs.find(found) if found else None
    lost = (Problem("found", "that search is no longer remembered", "a new one", code="no-longer-in-memory"),)
    return _page(request, opened, maps, settings.limits.grid_points, job, lost if found and not job else ())


@router.post("/networks/{network_id}/plans/find")
def find(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Start the search."""
    typed, most = typed_of(opened.network, form), settings.limits.grid_points
    try:
        asked = asked_of(opened.network, typed)
        wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=most)
        job = _start(opened, maps, jobs, wanted, asked, typed)
    except PlanError as error:
        return _page(request, opened, maps, most, None, error.problems, typed=typed, status=422)
    return RedirectResponse(to("plans.show", opened.head.id, found=job.id), 303)


@router.post("/networks/{network_id}/plans/accept")
def accept(request: Request, opened: ReadableDep, jobs: JobsDep, store: StoreDep, form: FormDep) -> Response:
    """Take one plan up as a new revision, with who and why; the licence must have been thought of."""
    job, at = jobs.find(form.get("found", "")), whole_number(form.get("plan", ""))
    held = job.result if job is not None and isinstance(job.result, FoundPlans) else None
    if held is None or at is None or not 1 <= at <= len(held.answer["plans"]):
        what = "that plan is no longer remembered"
        raise RefusedError(422, Problem("plan", what, "a new search", code="no-longer-in-memory", fields=("plan",)))
    if held.revision != opened.head.revision.number:
        what, expected = f"it was found for revision {held.revision}", "a new search, of the newest revision"
        raise RefusedError(409, Problem("plan", what, expected, code="revision-outdated", fields=("plan",)))
    plan = held.answer["plans"][at - 1]
    if radiates_otherwise(plan) and form.get("licence") != "yes":
        expected = f"the box ticked, once they were: {PLANS_CAUTION}"
        what = "power, antennas or sites on air would become the plan, and nobody said that the licence was looked at"
        problem = Problem("licence", what, expected, code="licence-unconfirmed", fields=("licence",))
        raise RefusedError(422, problem)
    author, reason = author_of(form), form.get("reason", "").strip()
    if not reason:
        raise RefusedError(
            422, Problem("reason", "a save needs a reason", "why", code="reason-missing", fields=("reason",))
        )
    changed = with_plan(opened.document, opened.network, plan)
    save(request, store, opened, changed, form, author=author, reason=reason)
    rest = (
        " Power, antennas and which sites are on air stand on no sheet: order them apart."
        if radiates_otherwise(plan)
        else ""
    )
    said = "Saved as a new revision. Nothing is changed at any site: sheets say what to set, a licence comes first."
    notice(request, said + rest)
    return RedirectResponse(to("delays.show", opened.head.id), 303)


def _start(
    opened: Opened, maps: Maps, jobs: JobsDep, wanted: Wanted, asked: Mapping[str, Any], typed: dict[str, str]
) -> Job:
    """The search as a job; a cancelled one still answers with the best it had."""
    network, revision = opened.network, opened.head.revision.number

    wishes = AskedPlans(
        Asked(**asked["counted"]), asked["vary"], asked["general"], asked["costs"], asked["licences"], asked["sure"],
        asked["robust"],
    )  # fmt: skip

    def work(progress: Progress) -> FoundPlans:
        return FoundPlans(searched(FUNCTION, maps, network, wanted, wishes, progress), typed, revision)

    key = f"plans {opened.head.id} {revision} {wanted.key} {sorted(typed.items())} {network.own_services}"
    return jobs.start(
        work,
        title=f"Plans of change for {network.name}",
        key=key,
        result_url=lambda job_id: to("plans.show", opened.head.id, found=job_id),
        far=maps.far,
        function=FUNCTION,
        asked=asked_for(opened, typed),
    )


FUNCTION = "plans"
KEPT = Function(
    plain=lambda found: {"answer": found.answer, "typed": found.typed, "revision": found.revision},
    revived=lambda kept: FoundPlans(kept["answer"], kept["typed"], kept["revision"]),
)


def again(opened: Opened, maps: Maps, jobs: Jobs, typed: dict[str, str], most: int) -> Job:
    """The search that was typed, of the newest revision."""
    wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=most)
    whole = typed_of(opened.network, {}) | usual_of(opened.network) | typed
    return _start(opened, maps, jobs, wanted, asked_of(opened.network, whole), whole)


def _page(
    request: Request, opened: Opened, maps: Maps, most: int, job: Job | None, problems: tuple[Problem, ...], *,
    typed: dict[str, str] | None = None, status: int = 200,
) -> Response:  # fmt: skip
    """The page in whatever state it is."""
    network, people_said, key = opened.network, "", ""
    usual = typed_of(network, {}) | usual_of(network)
    held = job.result if job is not None and isinstance(job.result, FoundPlans) else None
    try:
        wanted = maps.wanted(network, bounds=None, pixel_m=None, most=most)
        people_said, key = maps.listeners(network, wanted.grid).said, wanted.key
    except PlanError as error:
        problems += error.problems
    answer = held.answer if held else None
    made = answer["plans"] if answer else []
    tried = [tried_of(plan, network) for plan in made]
    context = PlansPage(
        network=opened.head,
        sites=_sites(network),
        typed=typed or usual | (held.typed if held else kept_typed(job)),
        job=job.view() if job is not None and job.state != "finished" else None,
        answer=answer,
        found=job.id if job is not None and held else "",
        maps=tuple("" if one is None else to("zones.show", opened.head.id, query=query_of(one)) for one in tried),
        reasons=tuple(
            plan_reason(plan, unit=answer["unit"], cost_unit=answer["costs"]["unit"]) for plan in made
        ) if answer else (),
        licensed=tuple(map(radiates_otherwise, made)),
        names={site.id: site.name for site in network.whole.sites},
        licences=tuple(one.name for one in (network.may_change.licences if network.may_change else ())),
        people_said=people_said,
        people_known=network.listeners is not None,
        caution=PLANS_CAUTION,
        smooth=network.terrain is None,
        smooth_says=smooth_says(network),
        averaged_says=ground_says(maps.find(key)),
        stale=held is not None and held.revision != opened.head.revision.number,
        problems=problems,
        labels=PLAN_LABELS,
    )  # fmt: skip
    return page(request, context, status=status)


def _sites(network: Network) -> tuple[PlanSite, ...]:
    """Sites of the form."""
    lines = network.may_change.lines if network.may_change else ()
    named = {site for line in lines for site in line.sites or ()}
    rest = any(line.sites is None for line in lines)
    having = pattern_sites(network)
    own = {
        site.id: "bounds of its own" if site.id in named else "the document's bounds" if rest else ""
        for site in network.sites
    }
    return tuple(PlanSite(site.id, site.name, own[site.id], site.id in having) for site in network.sites)

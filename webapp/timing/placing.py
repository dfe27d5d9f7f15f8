"""Where a new transmitter would serve most: a search in a job; a place is taken up as a draft of the document."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.geodesy.sites import place
from sfn.reception.on_treetops import ground_says
from sfn.study.mast_table import TEMPLATE
from sfn.study.optimised import Asked
from sfn.study.placing_asked import masts_from_table
from sfn.study.placing_found import PLACING_CAUTION, AskedPlacing
from sfn.study.placing_saved import with_new_site
from sfn.work.searches import AskedPlaces
from webapp.config.addresses import Room, to
from webapp.config.limits import whole_number
from webapp.config.settings import Settings
from webapp.forms.placing_typed import LABELS, AskedTyped, asked_of, pattern_sites, typed_of, usual_of, with_table
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep, UploadsDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.standing.editing import fresh
from webapp.standing.steps import kept
from webapp.store.store import Store
from webapp.timing.asked_for import asked_for
from webapp.timing.placing_near import found_near, names_offered
from webapp.work.jobs import Function, Job, Jobs, JobView, Progress, kept_typed
from webapp.work.maps import Maps, Wanted
from webapp.work.measurements import safe_name
from webapp.work.searches import searched

router = Room("placing")


@dataclass(frozen=True, slots=True)
class NamedSite:
    """A site to choose."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class PlacingPage(Context):
    """The search for the place of a new transmitter, and what it found."""

    TEMPLATE: ClassVar[str] = "timing/placing.html"
    TAB: ClassVar[str] = "placing"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[NamedSite, ...]
    """Sites that a new one may be like."""
    patterns: tuple[NamedSite, ...]
    """Sites whose pattern may be tried."""
    typed: dict[str, str]
    """What was typed, or the usual values."""
    columns: str
    """First line and an example of a table of masts."""
    job: JobView | None
    """The search, while it runs or where it failed."""
    answer: dict[str, Any] | None
    """What it found, as the command answers it."""
    found: str
    """The search that found it; empty where there is none."""
    names: dict[str, str]
    """Names of the sites."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_known: bool
    """Whether the network names people to count."""
    near_names: tuple[str, ...]
    """Places that high ground may be asked to see: sites, counted towns, fetched names, those of own overlays."""
    caution: str
    """What must be thought of before a transmitter is asked for."""
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
class FoundPlaces:
    """What a search leaves in its job: the answer, what was typed, and which revision it is of."""

    answer: dict[str, Any]
    typed: dict[str, str]
    revision: int


@router.get("/networks/{network_id}/placing")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, store: StoreDep,
    found: str = "",
) -> Response:  # fmt: skip
    """The form, the running search, or what it found."""
    job = jobs.find(found) if found else None
    lost = (Problem("found", "that search is no longer remembered", "a new one", code="no-longer-in-memory"),)
    return _page(request, opened, maps, settings, store, job, lost if found and not job else ())


@router.post("/networks/{network_id}/placing/find")
def find(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep,
    files: UploadsDep, store: StoreDep,
) -> Response:  # fmt: skip
    """Start the search."""
    network, typed, most = opened.network, typed_of(opened.network, form), settings.limits.grid_points
    try:
        for chosen in files.get("file", ()):
            typed = with_table(typed, chosen.file.read(), safe_name(chosen.filename or "masts"))
        asked = asked_of(network, typed)
        wanted = maps.wanted(network, bounds=None, pixel_m=None, most=most)
        masts_from_table(network, asked.masts, placed=place(network), ground=wanted.ground)  # told before the job
        if asked.masts.near:
            typed |= found_near(asked.masts.near, store, maps, settings, opened, wanted)
            asked = asked_of(network, typed)
        job = _start(opened, maps, jobs, wanted, asked, typed)
    except PlanError as error:
        return _page(request, opened, maps, settings, store, None, error.problems, typed=typed, status=422)
    return RedirectResponse(to("placing.show", opened.head.id, found=job.id), 303)


@router.post("/networks/{network_id}/placing/draft")
def draft(request: Request, opened: ReadableDep, jobs: JobsDep, store: StoreDep, form: FormDep) -> Response:
    """One place as a new site in a draft, like its neighbour and not transmitting; nothing is saved."""
    job, at = jobs.find(form.get("found", "")), whole_number(form.get("mast", ""))
    held = job.result if job is not None and isinstance(job.result, FoundPlaces) else None
    if held is None or at is None or not 1 <= at <= len(held.answer["masts"]):
        what = "that place is no longer remembered"
        raise RefusedError(422, Problem("mast", what, "a new search", code="no-longer-in-memory", fields=("mast",)))
    if held.revision != opened.head.revision.number:
        what, expected = f"it was found for revision {held.revision}", "a new search, of the newest revision"
        raise RefusedError(409, Problem("mast", what, expected, code="revision-outdated", fields=("mast",)))
    saved = store.read(opened.head.id)
    document, index = with_new_site(saved.document, held.answer["masts"][at - 1])
    key = kept(store, fresh(saved).with_document(document))
    notice(
        request,
        "A draft, nothing is saved: a new site like its neighbour, not transmitting. What belongs to the place alone, "
        "its feed first, is asked for, and an automatic common delay may move with it; "
        "no transmitter without a licence.",
    )
    return RedirectResponse(to("editor.show", opened.head.id, key, view="site", index=index), 303)


def _start(opened: Opened, maps: Maps, jobs: JobsDep, wanted: Wanted, asked: AskedTyped, typed: dict[str, str]) -> Job:
    """The search as a job; a cancelled one still answers with what it looked at."""
    network, revision = opened.network, opened.head.revision.number

    counted = Asked(by_area=asked.by_area, most_us=asked.most_us)
    wishes = AskedPlacing(counted, asked.patterns, asked.azimuth_step_deg, asked.masts.like, asked.sure)

    def work(progress: Progress) -> FoundPlaces:
        told = AskedPlaces(asked.masts, wishes)
        return FoundPlaces(searched(FUNCTION, maps, network, wanted, told, progress), typed, revision)

    key = f"placing {opened.head.id} {revision} {wanted.key} {sorted(typed.items())} {network.own_services}"
    return jobs.start(
        work,
        title=f"A new transmitter for {network.name}",
        key=key,
        result_url=lambda job_id: to("placing.show", opened.head.id, found=job_id),
        far=maps.far,
        function=FUNCTION,
        asked=asked_for(opened, typed),
    )


FUNCTION = "placing"
KEPT = Function(
    plain=lambda found: {"answer": found.answer, "typed": found.typed, "revision": found.revision},
    revived=lambda kept: FoundPlaces(kept["answer"], kept["typed"], kept["revision"]),
)


def again(opened: Opened, maps: Maps, jobs: Jobs, typed: dict[str, str], most: int) -> Job:
    """The search that was typed, of the newest revision."""
    wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=most)
    whole = typed_of(opened.network, {}) | usual_of(opened.network) | typed
    return _start(opened, maps, jobs, wanted, asked_of(opened.network, whole), whole)


def _page(
    request: Request, opened: Opened, maps: Maps, settings: Settings, store: Store, job: Job | None,
    problems: tuple[Problem, ...], *, typed: dict[str, str] | None = None, status: int = 200,
) -> Response:  # fmt: skip
    """The page in whatever state it is."""
    network, people_said, key = opened.network, "", ""
    offered: tuple[str, ...] = ()
    held = job.result if job is not None and isinstance(job.result, FoundPlaces) else None
    try:
        wanted = maps.wanted(network, bounds=None, pixel_m=None, most=settings.limits.grid_points)
        people_said, key = maps.listeners(network, wanted.grid).said, wanted.key
        offered = names_offered(store, maps, settings, opened, wanted)
    except PlanError as error:
        problems += error.problems
    names = {site.id: site.name for site in network.whole.sites}
    context = PlacingPage(
        network=opened.head,
        sites=tuple(NamedSite(site.id, site.name) for site in network.sites if site.fed_off_air_from is None),
        patterns=tuple(NamedSite(site, names[site]) for site in pattern_sites(network)),
        typed=typed or kept_typed(job) or usual_of(network),
        columns=TEMPLATE.strip(),
        job=job.view() if job is not None and job.state != "finished" else None,
        answer=held.answer if held else None,
        found=job.id if job is not None and held else "",
        names=names,
        people_said=people_said,
        people_known=network.listeners is not None,
        near_names=offered,
        caution=PLACING_CAUTION,
        smooth=network.terrain is None,
        smooth_says=smooth_says(network),
        averaged_says=ground_says(maps.find(key)),
        stale=held is not None and held.revision != opened.head.revision.number,
        problems=problems,
        labels=LABELS,
    )
    return page(request, context, status=status)

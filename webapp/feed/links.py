"""The link plan: one stream from the studio to a transmitter, its advice, and its place in a chain."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.report.charts import bars
from sfn.report.stream_charts import advice_chart
from sfn.stream.advise import Choice, advise
from sfn.stream.fields import OWN_PACKETS
from sfn.stream.link import LinkPlan, comparison
from sfn.stream.payload import dynamic_range_db, time_slots
from sfn.stream.planned import plan_of
from sfn.study.stream_stage import stale_settings, with_stream
from webapp.config.addresses import Room, to
from webapp.forms import stream as forms
from webapp.forms.stream import Part
from webapp.forms.stream_typed import (
    address_of,
    link_plan_of,
    paths_of,
    read,
    stream_plan_of,
    target_of,
    with_protection,
    written,
)
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, NetworkDep, Opened, StoreDep
from webapp.shell.following import found as job_found
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import save
from webapp.store.documents import network_of
from webapp.work.jobs import Progress

router = Room("links")


@dataclass(frozen=True, slots=True)
class ChainChoice:
    """A chain that a plan may go into."""

    site_id: str
    site_name: str
    route: str
    stages: tuple[str, ...]
    likely: str
    """The stage that a stream most likely replaces."""
    plan: str
    """Fields of the plan that is there now, if one is."""


@dataclass(frozen=True, slots=True)
class Compared:
    """The same stream at another packet time."""

    packet_time_us: float
    packets_per_s: float
    ip_mbps: float
    wire_mbps: float
    latency_us: float
    fits_mtu: bool


@dataclass(frozen=True, slots=True)
class LinksPage(Context):
    """One stream planned."""

    TEMPLATE: ClassVar[str] = "feed/links.html"
    TAB: ClassVar[str] = "links"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    wanted: tuple[Part, ...]
    """The form of the advice."""
    typed: str
    """The plan's fields as text, for the forms beneath."""
    plan: LinkPlan | None
    """The plan, once asked for."""
    range_db: tuple[float, float] | None
    """Dynamic range of the sample size, without and with dither, where samples are sent."""
    slots: int
    """Time slots of 64 kbit/s that the payload fills on a TDM link."""
    compared: tuple[Compared, ...]
    """Other packet times."""
    chart: str
    """The latency, element by element."""
    chains: tuple[ChainChoice, ...]
    """Where the plan may go."""
    problems: tuple[Problem, ...]
    """What is wrong, or doubtful, with the plan as a whole."""


@dataclass(frozen=True, slots=True)
class AdvicePage(Context):
    """Every protection for a target, ranked."""

    TEMPLATE: ClassVar[str] = "feed/advice.html"
    TAB: ClassVar[str] = "links"
    network: NetworkHead
    """Which network, in which revision."""
    choices: tuple[Choice, ...]
    """Those that meet the target first."""
    meeting: int
    """How many do."""
    links: tuple[str, ...]
    """Address of the plan with each choice in it."""
    chart: str
    """Time between errors against latency."""
    back: str
    """Address of the plan that was asked about."""
    taken_as: str
    """What the figures rest on where no mean burst is given; empty otherwise."""


@router.get("/networks/{network_id}/links")
def show(request: Request, opened: NetworkDep) -> Response:
    """The form, and the plan once something is asked."""
    typed = dict(request.query_params.multi_items())
    return _page(request, opened, typed) if typed else page(request, _blank(opened, typed, ()))


@router.post("/networks/{network_id}/links/advice")
def ask(opened: NetworkDep, jobs: JobsDep, form: FormDep) -> Response:
    """Start working out every protection for a target."""
    typed = read(form.get("typed", "")) | form
    plan, paths, target = link_plan_of(typed), paths_of(typed), target_of(typed)

    def work(progress: Progress) -> tuple[tuple[Choice, ...], str, str]:
        """Every combination."""
        choices = advise(
            plan.payload,
            plan.packet,
            headers=plan.headers,
            link=plan.link,
            paths=paths,
            target=target,
            parity_spread=typed.get("parity_spread") == "yes",
            progress=lambda part: progress.tell("protections worked out", done=round(100 * part), total=100),
        )
        return choices, written(typed), paths.alone_says or ""

    key = f"advice {opened.head.id} {written(typed)}"
    job = jobs.start(work, title="Protection for the target", key=key, short=True)
    job.result_url = to("links.advice", opened.head.id, job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/links/advice/{job_id}")
def advice(request: Request, opened: NetworkDep, jobs: JobsDep, job_id: str) -> Response:
    """The ranked protections."""
    result = job_found(jobs, job_id).result
    if result is None:
        raise RefusedError(
            404, Problem("advice", "is no longer in memory", "ask again from the link plan", code="no-longer-in-memory")
        )
    choices, typed, taken_as = result
    links = tuple(
        to("links.show", opened.head.id, query=written(with_protection(read(typed), choice.protection)))
        for choice in choices
    )
    back = to("links.show", opened.head.id, query=typed)
    meeting = [choice.meets for choice in choices].count(True)
    context = AdvicePage(opened.head, choices, meeting, links, advice_chart(choices), back, taken_as)
    return page(request, context)


@router.post("/networks/{network_id}/links/keep")
def keep(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Put the plan into a chain as a new revision, and say which settings are stale now."""
    stream_plan = stream_plan_of(read(form.get("typed", "")))
    try:
        site_id, route, in_place_of = form.get("place", "").split("|")
    except ValueError:
        raise RefusedError(
            422,
            Problem(
                "place",
                "no stage was chosen",
                "the stage that the stream replaces",
                code="no-stage-chosen",
                fields=("place",),
            ),
        ) from None
    author = form.get("author", "").strip()
    if not author:
        raise RefusedError(
            422, Problem("author", "a save needs a name", "yours", code="author-missing", fields=("author",))
        )
    base = opened.head.revision.number
    document = with_stream(
        opened.document,
        plan_of(stream_plan),
        site_id=site_id,
        route=route,
        in_place_of=in_place_of,
        stream_plan=stream_plan.in_document(),
        revision=base + 1,
        release_us=forms.release_us(form),
    )
    network = network_of(document, opened.network.own_services)
    save(request, store, opened, document, form, author=author, reason=f"stream plan of {site_id}")
    stale = ", ".join(change.in_words for change in stale_settings(opened.network, network))
    sentence = f"Settings that are out of date now: {stale}." if stale else "No setting changes."
    notice(request, f"Saved as a new revision. {sentence}")
    return RedirectResponse(to("delays.show", opened.head.id), 303)


def _page(request: Request, opened: Opened, typed: dict[str, str]) -> Response:
    """The plan, or what is wrong with its fields."""
    try:
        plan = link_plan_of(typed)
    except PlanError as error:
        return page(request, _blank(opened, typed, error.problems), status=422)
    rows = comparison(plan.payload, headers=plan.headers, protection=plan.protection, link=plan.link)
    bits = plan.payload.sample_bits
    context = LinksPage(
        opened.head,
        _parts(typed, ()),
        _wanted(typed, ()),
        written(typed),
        plan,
        (dynamic_range_db(bits), dynamic_range_db(bits, dithered=True)) if bits else None,
        time_slots(plan.payload.rate_bps),
        tuple(Compared(**{name: row[name] for name in Compared.__dataclass_fields__}) for row in rows),
        bars("Latency, element by element", [(e.name, e.latency_us) for e in plan.elements], unit="µs"),
        _chains(opened),
        plan.problems,
    )
    return page(request, context)


def _blank(opened: Opened, typed: dict[str, str], problems: tuple[Problem, ...]) -> LinksPage:
    """The form without a plan."""
    parts = _parts(typed, problems)
    left = forms.elsewhere(parts, problems)
    return LinksPage(
        opened.head, parts, _wanted(typed, ()), written(typed), None, None, 0, (), "", _chains(opened), left
    )


def _parts(typed: dict[str, str], problems: tuple[Problem, ...]) -> tuple[forms.Part, ...]:
    """The plan's form; a payload with a packet time of its own shows none where none was typed."""
    if typed.get("payload") in OWN_PACKETS:
        typed = {"packet_ms": ""} | typed
    return (
        forms.part("Payload", forms.PAYLOAD, typed, problems),
        forms.part("Packets", forms.PACKING, typed, problems),
        forms.part("Protection", forms.PROTECTION, typed, problems),
        forms.part("Link", forms.LINK, typed, problems),
    )


def _wanted(typed: dict[str, str], problems: tuple[Problem, ...]) -> tuple[forms.Part, ...]:
    """The advice's form."""
    return (
        forms.part("Loss on the way", forms.LOSS, typed, problems),
        forms.part("Target", forms.TARGET, typed, problems),
    )


def _chains(opened: Opened) -> tuple[ChainChoice, ...]:
    """Every chain, with the stage that a stream most likely replaces and the plan that is there."""
    stages = {stage.id: stage for stage in opened.network.stages}
    likely = ("time-stamped section", "network", "microwave", "fibre")
    found = []
    for site in opened.network.sites:
        for chain in site.chains:
            feeds = sorted(
                (s for s in chain.stages if stages[s].kind in likely), key=lambda s: likely.index(stages[s].kind)
            )
            plans = [address_of(held) for s in chain.stages if (held := stages[s].stream_plan) is not None]
            first = feeds[0] if feeds else ""
            found.append(
                ChainChoice(site.id, site.name, chain.route, tuple(chain.stages), first, plans[0] if plans else "")
            )
    return tuple(found)

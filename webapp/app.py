"""The application: its middleware, its routers, its static files. Reads like a contents page."""

import logging
from collections.abc import AsyncIterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import asynccontextmanager
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Depends, FastAPI, Request, Response
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.routing import BaseRoute
from starlette.staticfiles import StaticFiles

from sfn.errors import PlanError, Problem
from webapp import api
from webapp.config import addresses
from webapp.config.settings import SERVICES_FILE, LiveSecrets, Settings
from webapp.coverage import (
    contours,
    crossing,
    hear,
    map_figures,
    map_files,
    map_pieces,
    on_map,
    overlays,
    path,
    point,
    road,
    road_kept,
    road_linked,
    roads,
    signals,
    zones,
)
from webapp.describe import (
    air,
    antenna,
    chain,
    country,
    document,
    editor,
    network,
    new,
    off_air,
    others,
    people,
    revisions,
    site,
    tables,
    terrain,
)
from webapp.feed import clocks, links, losses
from webapp.front import (
    about_api,
    account,
    guide,
    health,
    jobs,
    lacking,
    metrics,
    networks,
    provider as provider_pages,
    record,
    services,
    trust,
    users,
)
from webapp.on_air import change, head_end, live, packet, readings, sheets, site_reading
from webapp.prove import ages, arrivals, drives, measurements, states, timeline
from webapp.prove.read_ahead import ReadAhead
from webapp.shell import api_pages, door, problems, security
from webapp.shell.api_shapes import shared
from webapp.shell.base_path import BasePath
from webapp.shell.body_limit import BodyLimit
from webapp.shell.measured import Measured
from webapp.shell.observed import Observed
from webapp.shell.provider import Provider
from webapp.shell.render import environment
from webapp.store import roles
from webapp.store.accounts import SESSION_S
from webapp.store.passwords import Attempts
from webapp.store.store import ConflictError, Store
from webapp.timing import delays, offset_weights, offsets, offsets_hand, placing, plans
from webapp.work.jobs import Jobs
from webapp.work.maps import Maps
from webapp.work.workers import Workers

LOG = logging.getLogger("webapp")

# In the order of the first screen, the network's tabs, the rest.
ROUTERS = (
    lacking.router,
    networks.router,
    new.router,
    network.router,
    site.router,
    antenna.router,
    terrain.router,
    air.router,
    country.router,
    chain.router,
    document.router,
    editor.router,
    revisions.router,
    services.router,
    timeline.router,
    states.router,
    ages.router,
    tables.router,
    hear.router,
    signals.router,
    road.router,
    road_linked.router,
    roads.router,
    delays.router,
    zones.router,
    map_pieces.router,
    map_files.router,
    map_figures.router,
    on_map.router,
    overlays.router,
    others.router,
    people.router,
    offsets.router,
    offset_weights.router,
    offsets_hand.router,
    plans.router,
    placing.router,
    contours.router,
    crossing.router,
    point.router,
    path.router,
    links.router,
    losses.router,
    clocks.router,
    off_air.router,
    change.router,
    live.router,
    sheets.router,
    packet.router,
    head_end.router,
    readings.router,
    site_reading.router,
    measurements.router,
    arrivals.router,
    drives.router,
    health.router,
    metrics.router,
    trust.router,
    guide.router,
    jobs.router,
    users.router,
    record.router,
    account.router,
    provider_pages.router,
    about_api.router,
    api.router,
)

GUARDS = (Depends(security.not_from_elsewhere), Depends(security.form_is_ours), Depends(roles.allowed))
"""What stands before every address."""

# Not offered to scripts a second time: the interface itself, logging in, a technician's signed link, the watch.
OWN = (
    api.router,
    about_api.router,
    account.router,
    provider_pages.router,
    site_reading.router,
    health.router,
    metrics.router,
)


def middleware(settings: Settings, measured: Measured) -> list[Middleware]:
    """Outermost first: a request passes them downwards, its answer upwards."""
    based = [Middleware(BasePath, base=settings.base_path)] if settings.base_path else []
    return [
        *based,
        Middleware(Observed, measured=measured, access_log=settings.access_log),
        Middleware(security.SecurityHeaders),
        Middleware(security.HostCheck, settings=settings),
        Middleware(security.OwnRequests),
        Middleware(
            SessionMiddleware,
            secret_key=settings.session_key,
            session_cookie=security.session_cookie(settings),
            max_age=SESSION_S,
            same_site="lax",  # strict would log people out who follow a link from their mail
            https_only=settings.https,
        ),
        Middleware(problems.LastResort),
        Middleware(door.Door),
        Middleware(BodyLimit, limits=settings.limits),
        Middleware(api_pages.NextAsData),
    ]


@cache  # hundreds of addresses take a second to describe, and are the same for every application of the process
def described() -> tuple[BaseRoute, ...]:
    """Every page, its second place for scripts, and what stands before each of them."""
    whole = APIRouter(dependencies=list(GUARDS))
    for router in ROUTERS:
        whole.include_router(router)
    whole.include_router(_second())
    return tuple(whole.routes)


@cache
def _second() -> APIRouter:
    """The pages' second places, for scripts."""
    return api_pages.second_places(tuple(router for router in ROUTERS if router not in OWN))


def create_app(settings: Settings, store: Store, *, executor: Executor | None = None) -> FastAPI:
    """The application over a store. `executor` runs long computations; by default threads, one a core allowed."""
    limits = settings.limits
    own_part(settings.base_path)
    at_a_time = limits.running_jobs + (limits.far_jobs if settings.workers else 0)
    threads = executor or ThreadPoolExecutor(at_a_time, thread_name_prefix="job")
    running = Jobs(
        threads,
        here_n=limits.running_jobs if settings.workers else None,
        capacity=at_a_time + limits.waiting_jobs,
        quota=limits.own_jobs,
        records=store.jobs,
        functions={one.FUNCTION: one.KEPT for one in (offsets, plans, placing, packet)},
    )

    workers = Workers(settings.workers, settings.data_folder) if settings.workers else None
    maps, measured = Maps(running, settings.data_folder, workers), Measured()
    store.services_file = settings.data_folder / SERVICES_FILE

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        ahead = ReadAhead(store, maps)
        ahead.start()
        yield
        ahead.close()
        LOG.info("ending; computations that are stopped: %s", running.cancel_all())
        threads.shutdown(wait=True, cancel_futures=True)
        maps.close()
        store.close()

    app = FastAPI(
        title="sfn-delays",
        description=api.__doc__ or "",
        lifespan=lifespan,
        middleware=middleware(settings, measured),
        dependencies=list(GUARDS),
        docs_url=None,  # the framework's page loads scripts from elsewhere; ours is /api
        redoc_url=None,
        openapi_url=addresses.OPENAPI,
        telemetry={"auto_configure": False},  # nothing leaves this machine
    )
    app.state.settings, app.state.store, app.state.jobs = settings, store, running
    app.state.maps, app.state.measured = maps, measured
    app.state.again = {one.FUNCTION: one.again for one in (offsets, plans, placing, road_kept)}
    app.state.again[packet.FUNCTION] = packet.again_by(store, settings)
    measured.looks_at(lambda: metrics.looked_at(app))
    app.state.secrets = LiveSecrets(settings)
    app.state.provider = None if settings.provider is None else Provider(settings.provider)
    app.state.templates, app.state.attempts = environment(), Attempts(store.slowed)
    problems.install(app)
    app.add_exception_handler(ConflictError, _conflict)
    app.router.routes.extend(described())
    app.openapi = lambda: _with_records(app, settings.base_path)  # type: ignore[method-assign]
    leaflet = Path(str(files("js_lib_leaflet"))) / "static" / "js_lib_leaflet"
    app.mount(f"{addresses.STATIC}/leaflet", StaticFiles(directory=leaflet), name="leaflet")
    app.mount(addresses.STATIC, StaticFiles(directory=Path(__file__).parent / "static"), name="static")
    return app


def own_part(base_path: str) -> None:
    """Refuse a base path that begins like one of our own: nobody could tell a path with it from one without.

    Raises
    ------
    PlanError
        If it does.
    """
    first = base_path.split("/")[1:2]
    if first and first[0] in {path.split("/")[1] for path in (*addresses.ROUTES.values(), addresses.STATIC)}:
        what = f"SFN_DELAYS_BASE_PATH begins with /{first[0]}, and so do addresses of the application"
        raise PlanError([Problem("SFN_DELAYS_BASE_PATH", what, "another word, as /delays", code="setting-unusable")])


def _conflict(request: Request, raised: Exception) -> Response:
    """What is answered when a save met another."""
    assert isinstance(raised, ConflictError)
    return api.conflict_answer(raised) if problems.wants_json(request) else revisions.conflict_page(request, raised, {})


def _with_records(app: FastAPI, base_path: str) -> dict[str, Any]:
    """The schema with the records that pages answer with, and where its paths begin."""
    api_pages.spell_forms(_second())
    schema = FastAPI.openapi(app)
    if base_path:
        schema["servers"] = [{"url": base_path}]
    for name, shape in shared().items():
        schema["components"]["schemas"].setdefault(name, shape)
    return schema

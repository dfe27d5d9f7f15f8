"""Addresses: a page's `Room` names each of its routes ``page.action``, and `to` makes an address out of that name.

An address is written once, beside what answers it; templates and handlers say ``to("delays.show", network.id)``.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from contextvars import ContextVar
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter
from fastapi.routing import APIRoute

from webapp.config.quick_json import QuickJsonRoute

HOME = "/"
LOG_IN = "/log-in"
PROVIDER = "/log-in/provider"
PROVIDER_BACK = "/log-in/provider/back"
API = "/api"
OPENAPI = "/api/openapi.json"
SITE_LINKS = "/site/"
"""Under it whoever holds a signed link comes in without a name."""
STATIC = "/static"
HEALTH, READY, METRICS = "/healthz", "/readyz", "/metrics"

BASE: ContextVar[str] = ContextVar("base", default="")
"""What stands before every path, where a proxy gives the application a part of its addresses: ``/delays``."""

ROUTES: dict[str, str] = {}
"""Of every route its path, gaps in braces, by its name."""
_GAP = re.compile(r"\{[^}]*\}")


class Room(APIRouter):
    """The routes of one page. `under` is what the application puts before their paths.

    Raises
    ------
    ValueError
        If two routes of the application have one name.
    """

    def __init__(self, page: str, *, under: str = "", include_in_schema: bool = False, **given: Any) -> None:
        given.setdefault("route_class", QuickJsonRoute)
        super().__init__(include_in_schema=include_in_schema, generate_unique_id_function=operation, **given)
        self.page, self.under = page, under

    def add_api_route(self, path: str, endpoint: Callable[..., Any], **given: Any) -> None:
        """Name a route after its page and its handler; one that comes from another room keeps its name."""
        name = given.get("name") or endpoint.__name__
        if "." not in name:
            given.setdefault("summary", name.replace("_", " ").title())
            name = f"{self.page}.{name}"
            if ROUTES.setdefault(name, f"{self.under}{self.prefix}{path}") != f"{self.under}{self.prefix}{path}":
                raise ValueError(f"two routes are called {name}")
        super().add_api_route(path, endpoint, **(given | {"name": name}))


def to(
    name: str,
    /,
    *gaps: object,
    query: str | Iterable[tuple[str, str]] = (),
    fragment: str = "",
    **asked: object,
) -> str:
    """The address of a route.

    Parameters
    ----------
    name : str
        As `Room` made it, ``page.action``.
    *gaps : object
        What goes into the gaps of its path, in their order.
    query : str or iterable of pairs
        Fields that are ready: as one text, or each with its name.
    fragment : str
        Behind ``#``.
    **asked : object
        Further fields; left out where they are None, False or empty; of a sequence each entry.

    Raises
    ------
    LookupError
        If there is no such route, or it has another number of gaps.
    """
    path = ROUTES[name]
    if len(_GAP.findall(path)) != len(gaps):
        raise LookupError(f"{name} is at {path}: {len(gaps)} given")
    filled = iter(gaps)
    made = _GAP.sub(lambda _: quote(str(next(filled)), safe=""), path)
    fields = [(key, one) for key, value in asked.items() for one in _said(value)]
    ready = query if isinstance(query, str) else urlencode([*query])
    whole = "&".join(part for part in (urlencode(fields), ready) if part)
    return inside(made) + (f"?{whole}" if whole else "") + (f"#{quote(fragment, safe='')}" if fragment else "")


def log_in(after: str = HOME) -> str:
    """Where one logs in; `after` is where one wanted to go, and is left out where that is the first screen."""
    return to("account.show", after="" if after == HOME else after)


def _said(value: object) -> Sequence[str]:
    """A field's value as an address says it: none where nothing is asked."""
    if value is None or value is False or value == "":
        return ()
    if isinstance(value, list | tuple):
        return [str(one) for one in value]
    return ("true",) if value is True else (str(value),)


def inside(path: str) -> str:
    """A path of the application as a browser asks for it."""
    return BASE.get() + path


def outside(public: str, address: str) -> str:
    """An address of ours as others reach it, as it is where there is no `public` one, which has `BASE` already."""
    return address if not public else public + address.removeprefix(BASE.get())


def beside(address: str) -> str:
    """What an address and its neighbours begin with: the address without its last part."""
    return address.rpartition("/")[0]


def static(name: str) -> str:
    """A file of ours: style sheet, script, picture."""
    return inside(f"{STATIC}/{name}")


def leaflet(name: str) -> str:
    """A file of Leaflet's."""
    return inside(f"{STATIC}/leaflet/{name}")


def operation(route: APIRoute) -> str:
    """What OpenAPI calls a route: by its handler, whatever page it is of."""
    name = route.name.rpartition(".")[2]
    method = min(route.methods or {"GET"}).lower()
    return re.sub(r"\W", "_", f"{name}{route.path_format}") + f"_{method}"

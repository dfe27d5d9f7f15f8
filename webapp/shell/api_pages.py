"""Every page and action for scripts: the same addresses under ``/api/pages`` answer JSON, with the same refusals.

A page answers with its record (`webapp.shell.context`), as `sfn.answer.plain` makes it plain; an action that would
lead a browser to another page answers ``{"next": ADDRESS}``. Forms are sent as form fields or as one JSON object; a
name that the form has not is refused (`webapp.shell.form_names`).
"""

import json
from functools import cache, partial
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import Response
from fastapi.routing import APIRoute
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from webapp.config.addresses import BASE, inside
from webapp.shell.api_shapes import responses
from webapp.shell.form_names import Accepted, accepted, only
from webapp.shell.form_spelled import form_fields, split_name

PREFIX = "/api/pages"
TAG = "pages"


def second_places(routers: tuple[APIRouter, ...]) -> APIRouter:
    """Every page and action at its second place, described in the schema but for its form: see `spell_forms`."""
    again = APIRouter(prefix=PREFIX, tags=[TAG])
    for router in routers:
        for route in router.routes:
            if isinstance(route, APIRoute):
                methods = route.methods or set()
                taken = partial(_taken, route.name, route.path)
                again.add_api_route(
                    route.path,
                    route.endpoint,
                    methods=sorted(methods),
                    name=route.name.replace(".", " "),
                    response_class=Response,
                    openapi_extra={"responses": responses(route.endpoint, route.path)},
                    dependencies=[*route.dependencies, *([Depends(only(taken))] if "POST" in methods else [])],
                )
    return again


@cache
def _taken(name: str, path: str) -> Accepted:
    """What a page's action takes. Asked when something is sent: to read all templates is a tenth of the start."""
    return accepted(path, form_fields().get(name, {}))


def spell_forms(again: APIRouter) -> None:
    """Describe the forms of `second_places` too: whoever asks for the schema needs them, and nobody before."""
    forms = form_fields()
    for route in again.routes:
        if isinstance(route, APIRoute) and "POST" in (route.methods or ()):
            page_action = route.name.replace(" ", ".")
            if names := forms.get(page_action, {}):
                taken = _taken(page_action, route.path.removeprefix(PREFIX))
                listed = {_open(one): label for one, label in ({**dict.fromkeys(taken.names, ""), **names}).items()}
                assert route.openapi_extra is not None
                # In place: where requests came before, the framework has another route with this mapping.
                route.openapi_extra["requestBody"] = _body(listed)


def _open(name: str) -> str:
    """A field's name with its gap in words: ``offset-{{ site.id }}`` as ``offset-SITE``."""
    before, gap = split_name(name)
    return f"{before}{gap.partition('.')[0].upper()}" if gap else name


def _body(names: dict[str, str]) -> dict[str, Any]:
    """A form's fields for the schema."""
    properties = {
        name: {"type": "string", **({"description": label} if label else {})} for name, label in names.items()
    }
    schema = {"type": "object", "properties": properties}
    kinds = ("application/json", "application/x-www-form-urlencoded", "multipart/form-data")
    return {"content": {kind: {"schema": schema} for kind in kinds}}


class NextAsData:
    """Under `PREFIX` a redirect becomes JSON that names where it leads, under the same prefix.

    What an action found, in `request.state.problems`, stands beside it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let everything else through as it is."""
        if scope["type"] != "http" or not scope["path"].startswith(f"{PREFIX}/"):
            await self.app(scope, receive, send)
            return
        moved = False

        async def answer(message: Message) -> None:
            """Exchange a redirect's head and body."""
            nonlocal moved
            if message["type"] == "http.response.start" and message["status"] in (302, 303, 307):
                moved = True
                location = Headers(raw=message["headers"]).get("location", "/")
                bare = location.removeprefix(BASE.get())
                ours = bare.startswith("/") and not bare.startswith(PREFIX)
                where = inside(f"{PREFIX}{bare}") if ours else location
                found = scope.get("state", {}).get("problems", ())
                said = {"problems": [problem.as_json() for problem in found]} if found else {}
                body = json.dumps({"next": where, **said}).encode()
                kept = [(k, v) for k, v in message["headers"] if k not in (b"location", b"content-length")]
                head = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
                await send({**message, "status": 200, "headers": [*kept, *head]})
                await send({"type": "http.response.body", "body": body})
            elif not moved:
                await send(message)

        await self.app(scope, receive, answer)

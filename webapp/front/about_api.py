"""The page on the addresses for scripts, made from the same description that programs read."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from webapp.config.addresses import BASE, Room
from webapp.config.settings import Settings
from webapp.shell.context import Context
from webapp.shell.dependencies import SettingsDep
from webapp.shell.render import page

router = Room("about_api")


@dataclass(frozen=True, slots=True)
class AboutApiPage(Context):
    """The addresses for scripts."""

    TEMPLATE: ClassVar[str] = "front/about_api.html"
    operations: tuple[tuple[str, str, str], ...]
    """Method, address and sentence of each."""
    needs_token: bool
    """Whether a password is in force."""
    base: str
    """This application's own address."""


@router.get("/api")
def show(request: Request, settings: SettingsDep) -> Response:
    """Every operation with its sentence."""
    context = AboutApiPage(
        operations=operations(request.app.openapi()),
        needs_token=settings.password_hash is not None,
        base=_own_address(request, settings),
    )
    return page(request, context)


def _own_address(request: Request, settings: Settings) -> str:
    """As it is called from elsewhere; on loopback as it was asked for."""
    if settings.public_url or not settings.on_loopback:
        return settings.public_url or f"http://{settings.host}:{settings.port}{BASE.get()}"
    return str(request.base_url).rstrip("/") + BASE.get()


def operations(schema: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Method, address and sentence of every operation in an OpenAPI schema."""
    return tuple(
        (method.upper(), path, str(operation.get("description", "")).partition("\n")[0])
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
    )

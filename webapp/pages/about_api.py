"""The page on the addresses for scripts, made from the same description that programs read."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from webapp.api import operations
from webapp.contexts.about_api import AboutApiPage
from webapp.dependencies import SettingsDep
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/api")
def show(request: Request, settings: SettingsDep) -> Response:
    """Every operation with its sentence."""
    context = AboutApiPage(
        operations=operations(request.app.openapi()),
        needs_token=settings.password_hash is not None,
        base=str(request.base_url).rstrip("/"),
    )
    return page(request, context)

"""Logging in and out. Without a password in force there is nothing to log into."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from webapp import addresses, security
from webapp.contexts.account import LogInPage
from webapp.dependencies import FormDep, SettingsDep
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/log-in")
def show(request: Request, settings: SettingsDep, after: str = addresses.HOME) -> Response:
    """Ask for the password."""
    after = security.local_address(after)
    if security.logged_in(request.scope, settings):
        return RedirectResponse(after, 303)
    return page(request, LogInPage(after=after, refusal=""))


@router.post("/log-in")
def enter(request: Request, settings: SettingsDep, form: FormDep) -> Response:
    """Look at the password, unless too many were wrong just before."""
    after = security.local_address(form.get("after", addresses.HOME))
    if settings.password_hash is None:
        return RedirectResponse(after, 303)
    right, wait_s = request.app.state.attempts.check(form.get("password", ""), settings.password_hash)
    if right:
        security.log_in(request, settings.password_hash)
        return RedirectResponse(after, 303)
    if wait_s:
        refused = LogInPage(after=after, refusal=f"Too many wrong passwords: try again in {wait_s} s.")
        answer = page(request, refused, status=429)
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    return page(request, LogInPage(after=after, refusal="This is not the password."), status=403)


@router.post("/log-out")
def leave(request: Request) -> Response:
    """End the session."""
    request.session.clear()
    return RedirectResponse(addresses.log_in(), 303)

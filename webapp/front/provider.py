"""Signing in at the OpenID Connect provider: sent there, and back. Who comes back must be a user here."""

import secrets

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from webapp.config import addresses
from webapp.config.addresses import Room, log_in, to
from webapp.config.provider_settings import ProviderSettings
from webapp.front.account import LogInPage
from webapp.shell.dependencies import PersonDep, StoreDep
from webapp.shell.door import HELD, address_of, begin
from webapp.shell.provider import Claimed, Provider, ProviderError
from webapp.shell.render import page
from webapp.shell.security import from_elsewhere, local_address
from webapp.store.accounts import Accounts
from webapp.store.passwords import Attempts
from webapp.store.store import Store

router = Room("provider")
TRIED = "\0provider"
"""Under which what fails is counted, apart from every user's passwords."""


@router.get("/log-in/provider")
async def ask(request: Request, store: StoreDep, person: PersonDep, after: str = addresses.HOME) -> Response:
    """Send the browser to the provider; only from a page of ours."""
    after, provider = local_address(after), _provider(request)
    if person.via != "nobody":
        return RedirectResponse(addresses.inside(after), 303)
    if provider is None or from_elsewhere(request.headers) or not await run_in_threadpool(store.accounts.some):
        return RedirectResponse(log_in(after), 303)
    try:
        return RedirectResponse(await provider.ask(request, after=after), 303)
    except ProviderError as refused:
        return await run_in_threadpool(_refused, request, store, refused, after)


@router.get("/log-in/provider/back")
async def answer(request: Request, store: StoreDep, person: PersonDep) -> Response:
    """Look at what the provider says, and let a user in."""
    provider = _provider(request)
    if person.via != "nobody":
        return RedirectResponse(addresses.inside(addresses.HOME), 303)
    if provider is None or not await run_in_threadpool(store.accounts.some):
        return RedirectResponse(to("account.show"), 303)
    try:
        claimed, after = await provider.answer(request)
        token = await run_in_threadpool(_let_in, store.accounts, provider.settings, claimed, address_of(request.scope))
    except ProviderError as refused:
        return await run_in_threadpool(_refused, request, store, refused, addresses.HOME)
    await run_in_threadpool(_attempts(request).forget, address=address_of(request.scope), name=TRIED)
    begin(request, {HELD: token})
    return RedirectResponse(addresses.inside(local_address(after)), 303)


def _let_in(accounts: Accounts, settings: ProviderSettings, claimed: Claimed, address: str) -> str:
    """A session of the user that the provider names.

    Raises
    ------
    ProviderError
        If there is no such user, or they have left.
    """
    found = accounts.find(claimed.name)
    if found is not None and found.ended_at is not None:
        what = f"{claimed.name} may come in here no more"
        raise ProviderError("provider-user-ended", what, "an administrator's word", detail=claimed.subject)
    if found is None and settings.unknown != "viewer":
        what = f"{claimed.name} is no user here"
        expected = "an administrator who adds a user of this name"
        raise ProviderError("provider-user-unknown", what, expected, detail=claimed.subject)
    if found is None:  # nobody knows the password: they come in by the provider, or an administrator sets one
        accounts.add(claimed.name, role="viewer", password=secrets.token_urlsafe(48), because=settings.issuer)
    return accounts.sign_in(
        claimed.name, address=address, by={"provider": settings.issuer, "sub": claimed.subject[:255]}
    )


def _refused(request: Request, store: Store, refused: ProviderError, after: str) -> Response:
    """The log-in page with the reason, which the record keeps; who goes on and on is told to wait."""
    provider, attempts, where = _provider(request), _attempts(request), address_of(request.scope)
    assert provider is not None
    name, problem = provider.settings.name, refused.problem
    wait_s = attempts.wait_s(address=where, name=TRIED)
    if wait_s:
        said = f"Too many failed: try again in {wait_s} s, or with your password."
        answer = page(request, LogInPage(after, True, "", "", name, said), status=429)
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    attempts.failed(address=where, name=TRIED)
    told = {"provider": provider.settings.issuer, "because": problem.code, "detail": refused.detail}
    store.audit.add("sign-in refused", subject=f"{name}: {problem.what}", body=told)
    said = f"Signing in at {name} did not work: {problem.what}. Needed: {problem.expected}."
    return page(request, LogInPage(after, True, "", "", name, said), status=refused.status)


def _provider(request: Request) -> Provider | None:
    provider: Provider | None = request.app.state.provider
    return provider


def _attempts(request: Request) -> Attempts:
    attempts: Attempts = request.app.state.attempts
    return attempts

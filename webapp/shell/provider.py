"""Signing in at an OpenID Connect provider: it is asked who somebody is, and its answer is looked at.

Authlib speaks the protocol: discovery, authorization code flow with PKCE (S256), state, nonce, JWKS, signature, claims.
What it leaves to its user stands here: the issuer must be the one that was set (Discovery 1.0, 4.3), signatures only by
asymmetric keys, audience and issuer compared with the settings (OpenID Connect Core 1.0, 3.1.3.7), an answer only
within ten minutes, and for a mail address the provider's word that it was verified (5.1).
Sources: OpenID Connect Core 1.0 and Discovery 1.0; RFC 7636 (PKCE); RFC 9207 (``iss`` beside the code).
"""

import asyncio
import logging
import ssl
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from typing import Any

from fastapi import Request

from sfn.errors import PlanError, Problem
from webapp.config.limits import LONGEST_PERSON_N
from webapp.config.provider_settings import PREFIX, ProviderSettings, protected, stays_here

LOG = logging.getLogger("webapp.provider")

SIGNED_BY = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA", "Ed25519")
"""Never `none`, and none that is made with a secret both sides know."""
ANSWERED_WITHIN_S = 600.0
DESCRIPTION_KEPT_S = 600.0
CONVERSATION_S = 20.0
"""All requests of one step together; a single one is given half."""
CLOCKS_APART_S = 60
_ASKED_AGAIN = ("provider-signature", "provider-unreadable", "provider-down")
_ENDPOINTS = ("authorization_endpoint", "token_endpoint", "jwks_uri")


class ProviderError(Exception):
    """Somebody could not be signed in by the provider; says why, and for the record what the library said."""

    def __init__(self, code: str, what: str, expected: str, *, status: int = 403, detail: str = "") -> None:
        self.problem = Problem("provider", what, expected, code=code)
        self.status, self.detail = status, detail[:300]
        super().__init__(what)


@dataclass(frozen=True, slots=True)
class Claimed:
    """Who the provider says somebody is."""

    name: str
    """The claim that names the user here."""
    subject: str
    """As the provider knows them, for ever."""


class Provider:
    """One provider. Its description and keys are asked again after ten minutes, and whenever they were not there."""

    def __init__(self, settings: ProviderSettings, clock: Callable[[], float] = time.time) -> None:
        self.settings, self._clock = settings, clock
        self._client: Any = None
        self._asked_s = 0.0

    async def ask(self, request: Request, *, after: str) -> str:
        """Where to send the browser; what its answer must fit is kept in the browser's signed session.

        Raises
        ------
        ProviderError
            If the provider does not answer, or is another than the one that was set.
        """
        async with _in_words():
            client = await self._described()
            asked = await client.create_authorization_url(self.settings.back)
            await client.save_authorize_data(
                request, redirect_uri=self.settings.back, after=after, asked_s=self._clock(), **asked
            )
            return str(asked["url"])

    async def answer(self, request: Request) -> tuple[Claimed, str]:
        """Who came back, and where they wanted to go.

        Raises
        ------
        ProviderError
            If anything of the answer does not hold.
        """
        try:
            return await self._answer(request)
        except ProviderError as refused:
            if refused.problem.code in _ASKED_AGAIN:  # a new description and new keys may be right
                self._client = None
            raise

    async def _answer(self, request: Request) -> tuple[Claimed, str]:
        """The same, with what was kept of the provider."""
        async with _in_words():
            client = await self._described()
            sent = request.query_params
            state = sent.get("state", "")
            held = await client.framework.get_state_data(request.session, state)
            if held is None or not 0 <= self._clock() - float(held["asked_s"]) <= ANSWERED_WITHIN_S:
                await client.framework.clear_state_data(request.session, state)
                what = "this answers no sign-in that this browser began within ten minutes"
                raise ProviderError("provider-state", what, "once more from the log-in page")
            if sent.get("iss", self.settings.issuer) != self.settings.issuer:
                await client.framework.clear_state_data(request.session, state)
                raise _claim_refused("iss", detail=str(sent.get("iss")))
            if "error" in sent:
                await client.framework.clear_state_data(request.session, state)
                raise _refused_there(sent["error"], sent.get("error_description", ""))
            token = await client.authorize_access_token(
                request,
                claims_options={
                    "iss": {"essential": True, "value": self.settings.issuer},
                    "aud": {"essential": True, "value": self.settings.client},
                    "exp": {"essential": True},
                },
                leeway=CLOCKS_APART_S,
            )
            claims = token.get("userinfo")
            if not claims:
                what = "its answer says nobody (it has no ID token)"
                raise ProviderError("provider-unreadable", what, "scope openid allowed for this client at the provider")
            if self.settings.claim not in claims and client.server_metadata.get("userinfo_endpoint"):
                claims = await self._told_apart(client, token, str(claims["sub"]))
            return Claimed(self._name(claims), str(claims["sub"])), str(held["after"])

    async def _described(self) -> Any:
        """Authlib's client with the provider's description of itself, looked at."""
        if self._client is not None and self._clock() - self._asked_s < DESCRIPTION_KEPT_S:
            return self._client
        client = self._new_client()
        told = await client.load_server_metadata()
        issuer = told.get("issuer")
        if issuer != self.settings.issuer:
            what = f"it calls itself {str(issuer)[:200]!r}, and {PREFIX}ISSUER is {self.settings.issuer!r}"
            raise ProviderError("provider-issuer", what, "an administrator who sets the right one", status=502)
        if not all(protected(str(told.get(name, ""))) for name in _ENDPOINTS):
            what = f"it does not name {', '.join(_ENDPOINTS)} with addresses by https"
            raise ProviderError("provider-unreadable", what, "an OpenID Connect provider", status=502)
        offered = told.get("id_token_signing_alg_values_supported") or ["RS256"]
        told["id_token_signing_alg_values_supported"] = [one for one in SIGNED_BY if one in offered]
        if not told["id_token_signing_alg_values_supported"]:
            what, expected = "it signs in no way that is accepted here", ", ".join(SIGNED_BY)
            raise ProviderError("provider-signature", what, expected, status=502)
        told.pop("jwks", None)  # keys come from their address, not from the description
        takes = told.get("token_endpoint_auth_methods_supported") or ["client_secret_basic"]
        if "client_secret_basic" not in takes and "client_secret_post" in takes:
            client.client_kwargs["token_endpoint_auth_method"] = "client_secret_post"
        self._client, self._asked_s = client, self._clock()
        return client

    def _new_client(self) -> Any:
        from authlib.integrations.starlette_client import OAuth  # an extra: loaded only where a provider is set

        issuer = self.settings.issuer
        return OAuth().register(
            "provider",
            client_id=self.settings.client,
            client_secret=self.settings.secret,
            server_metadata_url=f"{issuer.rstrip('/')}/.well-known/openid-configuration",
            client_kwargs={
                "scope": "openid profile email",
                "code_challenge_method": "S256",
                "timeout": CONVERSATION_S / 2,
                "trust_env": not stays_here(issuer),
                "verify": _trusted(),
            },
        )

    async def _told_apart(self, client: Any, token: Any, subject: str) -> Any:
        """What the provider says at its userinfo address, of the same person (Core 1.0, 5.3.2)."""
        if not protected(str(client.server_metadata["userinfo_endpoint"])):
            what = "it tells of people at an address without https"
            raise ProviderError("provider-unreadable", what, "userinfo_endpoint by https", status=502)
        told = await client.userinfo(token=token)
        if told.get("sub") != subject:
            what, detail = "its answers tell of two people", f"userinfo tells of {str(told.get('sub'))[:100]!r}"
            raise ProviderError("provider-two-people", what, "one person", detail=detail)
        return told

    def _name(self, claims: Any) -> str:
        """The claim that names the user."""
        claim = self.settings.claim
        value = claims.get(claim)
        name = " ".join(value.split()) if isinstance(value, str) else ""
        if not name or len(name) > LONGEST_PERSON_N or not name.isprintable():
            what = f"it does not say your {claim}" if value is None else f"your {claim} there cannot be a name here"
            raise ProviderError("provider-claim-missing", what, f"{claim} given to this client by the provider")
        if claim == "email" and claims.get("email_verified") is not True:
            what = f"it does not say that {name} was verified"
            raise ProviderError("provider-email-unverified", what, "a mail address that the provider has verified")
        return name


@cache
def _trusted() -> ssl.SSLContext:
    """The certificates that this machine trusts, a company's own among them; read once."""
    return ssl.create_default_context()


@asynccontextmanager
async def _in_words() -> AsyncIterator[None]:
    """Whatever goes wrong between here and the provider becomes a reason in words; the log keeps the library's."""
    import httpx2
    from authlib.integrations.starlette_client import OAuthError
    from joserfc.errors import ClaimError, ExpiredTokenError, JoseError

    try:
        async with asyncio.timeout(CONVERSATION_S):
            yield
    except ProviderError:
        raise
    except OAuthError as refused:
        raise _refused_there(str(refused.error or ""), str(refused.description or "")) from refused
    except ExpiredTokenError as refused:
        what = "its answer had expired when it arrived"
        raise ProviderError("provider-expired", what, "clocks that agree to a minute", detail=str(refused)) from refused
    except ClaimError as refused:
        raise _claim_refused(str(refused.claim), detail=str(refused)) from refused
    except JoseError as refused:
        what, expected = "its answer is not signed as it should be", "a signature by a key that the provider publishes"
        raise ProviderError("provider-signature", what, expected, detail=str(refused)) from refused
    except (httpx2.HTTPError, httpx2.InvalidURL, TimeoutError) as refused:
        LOG.warning("the provider does not answer: %r", refused)
        what, expected = "it does not answer as it should", "a moment, then once more; your password here still works"
        raise ProviderError("provider-down", what, expected, status=502, detail=repr(refused)) from refused
    except Exception as refused:  # what a strange answer makes of the libraries: never a page of ours that breaks
        LOG.warning("the provider's answer cannot be read", exc_info=refused)
        what, expected = "its answer cannot be read", "an OpenID Connect provider"
        detail = f"{type(refused).__name__}: {refused}"
        raise ProviderError("provider-unreadable", what, expected, status=502, detail=detail) from refused


_CLAIMS = {
    "iss": ("its answer comes from another provider", "an answer of the one that was asked"),
    "aud": ("its answer is meant for another application", "an answer for this one"),
    "azp": ("its answer is meant for another application", "an answer for this one"),
    "nonce": ("its answer belongs to another sign-in than this one", "once more from the log-in page"),
}


def _claim_refused(claim: str, *, detail: str) -> ProviderError:
    """A claim that does not hold."""
    usual = (f"its answer does not hold ({claim[:40]})", "an answer as OpenID Connect asks for")
    return ProviderError(f"provider-claim-{claim[:20]}", *_CLAIMS.get(claim, usual), detail=detail)


def _refused_there(error: str, description: str) -> ProviderError:
    """What the provider itself refused."""
    if error == "access_denied":
        what, expected = "you were not let in there, or said no", "somebody who may"
    else:
        shown = "".join(letter for letter in error[:60] if letter.isprintable())
        what, expected = f"it refused ({shown})", "an administrator who looks at this application's entry there"
    return ProviderError("provider-refused", what, expected, detail=f"{error}: {description}")


def usable(settings: ProviderSettings) -> None:
    """Refuse to start with a provider that nobody could sign in at.

    Raises
    ------
    PlanError
        If the client has no secret, or Authlib is not installed.
    """
    if not settings.secret:
        expected = f"{PREFIX}SECRET, or `python -m webapp --set-provider-secret`"
        problem = Problem(f"{PREFIX}SECRET", "the provider's client has no secret", expected, code="setting-unusable")
        raise PlanError([problem])
    if any(find_spec(name) is None for name in ("authlib", "httpx2", "joserfc")):
        what, expected = (
            "signing in at a provider needs Authlib, which is not installed",
            "pip install 'sfn-delays[oidc]'",
        )
        raise PlanError([Problem(f"{PREFIX}ISSUER", what, expected, code="extra-missing")])

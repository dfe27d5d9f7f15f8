"""Settings of an OpenID Connect provider at which people sign in; none by default.

| field | variable | meaning |
|---|---|---|
| `issuer` | ``SFN_DELAYS_OIDC_ISSUER`` | the provider's address, letter for letter as it calls itself; https |
| `client` | ``SFN_DELAYS_OIDC_CLIENT`` | this application's id at the provider |
| `secret` | ``SFN_DELAYS_OIDC_SECRET`` | its secret; or in ``secrets.json``, written by ``--set-provider-secret`` |
| `claim` | ``SFN_DELAYS_OIDC_CLAIM`` | claim with the name of the user here, as ``preferred_username`` or ``email`` |
| `unknown` | ``SFN_DELAYS_OIDC_UNKNOWN`` | ``refuse`` who is no user here (usual), or make them ``viewer`` |
| `name` | ``SFN_DELAYS_OIDC_NAME`` | what the log-in page calls it; the issuer's host by default |

Where the provider sends people back to comes from ``SFN_DELAYS_PUBLIC_URL``, never from what a request says of itself.
"""

import ipaddress
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import SplitResult, urlsplit

from sfn.errors import PlanError, Problem

PREFIX = "SFN_DELAYS_OIDC_"
SECRET = "oidc_client_secret"
"""The secret's name in ``secrets.json``."""
_CLAIM = re.compile(r"[A-Za-z0-9_.:/-]{1,100}")


@dataclass(frozen=True, slots=True)
class ProviderSettings:
    """A provider and what this application is there."""

    issuer: str
    client: str
    claim: str
    back: str
    """Where the provider sends people back to: the public address of this application."""
    secret: str = field(default="", repr=False)
    unknown: str = "refuse"
    name: str = ""


def provider_settings(environ: Mapping[str, str], held: Mapping[str, str], *, back: str) -> ProviderSettings | None:
    """The provider of the environment; None where none is set.

    Parameters
    ----------
    environ : mapping
    held : mapping
        What ``secrets.json`` holds.
    back : str
        The public address with the path that answers arrive at; empty without a public address.

    Raises
    ------
    PlanError
        If something is missing, or the issuer is no address that can be trusted.
    """
    given = {key: value.strip() for key, value in environ.items() if key.startswith(PREFIX) and value.strip()}
    if not given:
        return None
    issuer = given.get(f"{PREFIX}ISSUER", "")
    missing = [f"{PREFIX}{one}" for one in ("ISSUER", "CLIENT", "CLAIM") if f"{PREFIX}{one}" not in given]
    if missing:
        needed = f"{', '.join(missing)} too: issuer, client and the claim that names the user belong together"
        raise _refusal(missing[0], "signing in at a provider is set in part", needed)
    if not protected(issuer) or urlsplit(issuer).query or urlsplit(issuer).fragment:
        raise _refusal(f"{PREFIX}ISSUER", f"{PREFIX}ISSUER is {issuer!r}", "as https://sign-in.example.org")
    claim, unknown = given[f"{PREFIX}CLAIM"], given.get(f"{PREFIX}UNKNOWN", "refuse")
    if not _CLAIM.fullmatch(claim):
        raise _refusal(f"{PREFIX}CLAIM", f"{PREFIX}CLAIM is {claim[:60]!r}", "the name of one claim, as email")
    if unknown not in ("refuse", "viewer"):
        raise _refusal(f"{PREFIX}UNKNOWN", f"{PREFIX}UNKNOWN is {unknown[:60]!r}", "refuse or viewer")
    if not back:
        what = "signing in at a provider needs the address to come back to, and no public address is set"
        raise _refusal("SFN_DELAYS_PUBLIC_URL", what, "SFN_DELAYS_PUBLIC_URL as https://sfn.example.org")
    return ProviderSettings(
        issuer=issuer,
        client=given[f"{PREFIX}CLIENT"],
        claim=claim,
        back=back,
        secret=given.get(f"{PREFIX}SECRET") or held.get(SECRET, ""),
        unknown=unknown,
        name=given.get(f"{PREFIX}NAME") or urlsplit(issuer).hostname or issuer,
    )


def protected(address: str) -> bool:
    """Whether an address is asked by TLS, or does not leave this machine."""
    try:
        parts = urlsplit(address)
        on_this_machine = _on_this_machine(parts)
    except ValueError:
        return False
    return bool(parts.hostname) and (parts.scheme == "https" or (parts.scheme == "http" and on_this_machine))


def stays_here(address: str) -> bool:
    """Whether an address is one of this machine, so that no proxy is asked on the way."""
    return _on_this_machine(urlsplit(address))


def _on_this_machine(parts: SplitResult) -> bool:
    host = parts.hostname or ""
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _refusal(where: str, what: str, expected: str) -> PlanError:
    return PlanError([Problem(where=where, what=what, expected=expected, code="setting-unusable")])

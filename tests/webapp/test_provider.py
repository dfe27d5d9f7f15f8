"""Signing in at an OpenID Connect provider: what must hold of its answer, and every way in which it may not.

Against a provider of the tests' own (`tests.webapp.small_provider`), over HTTP on loopback. What must be refused is taken
from OpenID Connect Core 1.0, 3.1.2.6, 3.1.3.4 and 3.1.3.7, Discovery 1.0, 4.3, and RFC 9207, 2.4.
"""

import html
import io
import json
import re
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from joserfc.jwk import RSAKey
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.conftest import token_in
from tests.webapp.small_provider import CLIENT, SECRET, SmallProvider
from webapp.__main__ import closed, main
from webapp.config.provider_settings import ProviderSettings
from webapp.config.settings import SECRETS_FILE, read_settings
from webapp.shell import provider as provider_module
from webapp.store import passwords
from webapp.store.store import Store

BACK = "https://sfn.example.org/log-in/provider/back"
WORDS = "several words do well"
CHEAP = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
ENVIRON = {
    "SFN_DELAYS_OIDC_ISSUER": "https://sign-in.example.org",
    "SFN_DELAYS_OIDC_CLIENT": CLIENT,
    "SFN_DELAYS_OIDC_CLAIM": "email",
    "SFN_DELAYS_OIDC_SECRET": SECRET,
    "SFN_DELAYS_PUBLIC_URL": "https://sfn.example.org",
}


@pytest.fixture(autouse=True)
def _cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cheap parameters: the point here is another door."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: CHEAP)


@pytest.fixture(scope="module")
def keys() -> tuple[RSAKey, RSAKey]:
    """The provider's key, and one that is not."""
    return (
        RSAKey.generate_key(2048, {"kid": "a", "use": "sig"}, private=True),
        RSAKey.generate_key(2048, {"kid": "new", "use": "sig"}, private=True),
    )


@pytest.fixture
def small(keys: tuple[RSAKey, RSAKey]) -> Iterator[SmallProvider]:
    """The provider, answering."""
    made = SmallProvider(*keys)
    yield made
    made.close()


@pytest.fixture
def browser(client_with: Callable[..., TestClient], store: Store, small: SmallProvider) -> Callable[..., TestClient]:
    """A browser of an application with two users and the provider; `changes` are to its settings."""
    store.accounts.add("Chief", role="administrator", password=WORDS)
    store.accounts.add("Planner", role="planner", password=WORDS)

    def make(**changes: Any) -> TestClient:
        given = {
            "issuer": small.issuer,
            "client": CLIENT,
            "claim": "preferred_username",
            "back": BACK,
            "secret": SECRET,
        }
        return client_with(provider=ProviderSettings(**{**given, "name": "the company's sign-in", **changes}))

    return make


def come_back(client: TestClient, small: SmallProvider, after: str = "/") -> Any:
    """Go to the provider from the log-in page, agree there, and come back."""
    link = re.search(r'href="(/log-in/provider[^"]*)"', client.get("/log-in", params={"after": after}).text)
    assert link
    asked = client.get(html.unescape(link[1]), follow_redirects=False)
    if asked.status_code != 303:
        return asked
    back = small.authorize(asked.headers["location"])
    return client.get("/log-in/provider/back", params=back, follow_redirects=False)


def refusal(answer: Any) -> str:
    """What a refused sign-in says; it is a page, and no fault."""
    assert answer.status_code in (403, 502), answer.text
    found = re.search(r'class="field-problem" role="alert">([^<]+)<', answer.text)
    assert found, answer.text
    return html.unescape(found[1])


def record(store: Store) -> list[Any]:
    """What the audit trail holds."""
    assert not store.audit.verify().faults
    return list(store.audit.all())


def test_a_user_comes_in_by_the_provider(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """With the name and role that they have here, to where they wanted to go; the record says who proved it."""
    client = browser()
    assert client.get("/networks/1", follow_redirects=False).status_code == 303
    answer = come_back(client, small, after="/account")
    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    assert "<b>Planner</b>, planner" in client.get("/account").text
    assert client.get("/users").status_code == 403
    line = next(line for line in record(store) if line.action == "signed in")
    assert (line.who, line.body) == ("Planner", {"provider": small.issuer, "sub": "7e1"})


def test_where_to_come_back_to_is_never_what_the_request_says(
    browser: Callable[..., TestClient], small: SmallProvider
) -> None:
    """The public address of the settings, also behind another Host; the state, nonce and challenge are new each time."""
    client = browser()
    seen = []
    for host in ("localhost:8430", "127.0.0.1:1"):
        asked = client.get("/log-in/provider", headers={"Host": host}, follow_redirects=False)
        back = small.authorize(asked.headers["location"])
        sent = small.codes[back["code"]]
        assert sent["redirect_uri"] == BACK
        seen += [sent["state"], sent["nonce"], sent["code_challenge"]]
    assert len(set(seen)) == 6
    assert all(len(one) >= 20 for one in seen)


def test_the_session_ends_with_log_out_and_after_twelve_hours(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """As any other: the server forgets it, and a copied cookie opens nothing."""
    client = browser()
    come_back(client, small)
    copied = dict(client.cookies)
    token = token_in(client.get("/account").text)
    assert client.post("/log-out", data={"csrf_token": token}, follow_redirects=False).status_code == 303
    client.cookies.update(copied)
    assert client.get("/account", follow_redirects=False).headers["location"].startswith("/log-in")
    client.cookies.clear()
    now = datetime.now(UTC)
    come_back(client, small)
    store.accounts._clock = lambda: now + timedelta(hours=11, minutes=59)
    assert client.get("/account").status_code == 200
    store.accounts._clock = lambda: now + timedelta(hours=12, minutes=1)
    assert client.get("/account", follow_redirects=False).status_code == 303


BENT: dict[str, tuple[dict[str, Any], str, str]] = {
    "wrong issuer": ({"claims": {"iss": "https://other.example.org"}}, "provider-claim-iss", "another provider"),
    "no issuer": ({"claims": {"iss": None}}, "provider-claim-iss", "another provider"),
    "wrong nonce": ({"claims": {"nonce": "of another sign-in"}}, "provider-claim-nonce", "another sign-in"),
    "no nonce": ({"claims": {"nonce": None}}, "provider-claim-nonce", "another sign-in"),
    "expired": ({"claims": {"exp": int(time.time()) - 3600}}, "provider-expired", "had expired"),
    "no end": ({"claims": {"exp": None}}, "provider-claim-exp", "does not hold (exp)"),
    "issued tomorrow": ({"claims": {"iat": int(time.time()) + 86400}}, "provider-claim-iat", "does not hold"),
    "nobody": ({"claims": {"sub": None}}, "provider-claim-sub", "does not hold (sub)"),
    "wrong audience": ({"claims": {"aud": "payroll"}}, "provider-claim-aud", "another application"),
    "wrong audience, ours as azp": (
        {"claims": {"aud": "payroll", "azp": CLIENT}}, "provider-claim-aud", "another application"),
    "several audiences, for another": (
        {"claims": {"aud": [CLIENT, "payroll"], "azp": "payroll"}}, "provider-claim-azp", "another application"),
    "alg none": ({"signed": "none"}, "provider-signature", "not signed as it should be"),
    "by the public key as a secret": ({"signed": "HS256"}, "provider-signature", "not signed as it should be"),
    "wrong key": ({"signed": "another key"}, "provider-signature", "not signed as it should be"),
    "unknown key": ({"signed": "an unknown key"}, "provider-signature", "not signed as it should be"),
    "no ID token": ({"signed": "nothing"}, "provider-unreadable", "says nobody"),
    "error at the token": ({"token": (400, {"error": "invalid_grant"})}, "provider-refused", "refused (invalid_grant)"),
    "fault at the token": ({"token": (500, "<h1>Fault</h1>")}, "provider-", "answer"),
    "a page for a token": ({"token": (200, "<h1>Welcome</h1>")}, "provider-unreadable", "cannot be read"),
    "a list for a token": ({"token": (200, [])}, "provider-unreadable", "cannot be read"),
    "no keys": ({"keys": (404, {})}, "provider-down", "does not answer"),
    "strange keys": ({"keys": (200, {"keys": [{"kty": "?"}]})}, "provider-", "answer"),
    "said no": ({"back": {"error": "access_denied"}}, "provider-refused", "not let in there"),
    "error answer": (
        {"back": {"error": "server_error\x07", "error_description": "x" * 5000}}, "provider-refused", "(server_error)"),
    "another provider's answer": ({"back": {"iss": "https://other.example.org"}}, "provider-claim-iss", "another provider"),
    "another state": ({"back": {"state": "of somebody else"}}, "provider-state", "no sign-in that this browser began"),
    "no code": ({"back": {"code": ""}}, "provider-refused", "refused"),
    "a code of before": ({"back": {"code": "used"}}, "provider-refused", "refused (invalid_grant)"),
    "the claim is missing": (
        {"claims": {"preferred_username": None}}, "provider-claim-missing", "does not say your preferred_username"),
    "the claim is no text": ({"claims": {"preferred_username": ["Planner"]}}, "provider-claim-missing", "cannot be a name"),
    "the claim is too long": ({"claims": {"preferred_username": "P" * 200}}, "provider-claim-missing", "cannot be a name"),
    "unknown here": ({"claims": {"preferred_username": "Stranger"}}, "provider-user-unknown", "Stranger is no user here"),
}  # fmt: skip


@pytest.mark.parametrize("how", BENT)
def test_an_answer_that_does_not_hold_is_refused(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store, how: str
) -> None:
    """In words on the log-in page, with a line in the record; nobody is signed in, and nobody was made."""
    bent, code, words = BENT[how]
    client = browser()
    small.bent = bent
    assert words in refusal(come_back(client, small))
    assert client.get("/account", follow_redirects=False).status_code == 303
    lines = [line for line in record(store) if line.action in ("sign-in refused", "signed in")]
    assert [line.action for line in lines] == ["sign-in refused"]
    assert lines[0].body["because"].startswith(code)
    assert lines[0].body["provider"] == small.issuer
    assert lines[0].address
    assert len(store.accounts.users()) == 2
    small.bent = {}
    assert come_back(client, small).status_code == 303
    assert client.get("/account").status_code == 200


@pytest.mark.parametrize(
    ("bent", "words"),
    [
        ({"description": {"issuer": "https://other.example.org"}}, "calls itself 'https://other.example.org'"),
        ({"description": {"issuer": None}}, "calls itself 'None'"),
        ({"description": {"token_endpoint": "http://sign-in.example.org/token"}}, "addresses by https"),
        ({"description": {"jwks_uri": None}}, "addresses by https"),
        ({"description": {"id_token_signing_alg_values_supported": ["none", "HS256"]}}, "signs in no way"),
        ({"discovery": (404, {})}, "does not answer"),
        ({"discovery": (500, "<h1>Fault</h1>")}, "does not answer"),
        ({"discovery": (200, "<h1>Welcome</h1>")}, "cannot be read"),
        ({"discovery": (200, [1])}, "cannot be read"),
        ({"discovery": (302, {})}, "does not answer"),
    ],
)
def test_a_provider_that_describes_itself_wrongly_is_refused(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store, bent: dict[str, Any], words: str
) -> None:
    """Before anybody is sent there; once it is mended, the next sign-in works without a new start."""
    client = browser()
    small.bent = bent
    answer = come_back(client, small)
    assert answer.status_code == 502
    assert words in refusal(answer)
    assert record(store)[-1].action == "sign-in refused"
    small.bent = {}
    assert come_back(client, small).status_code == 303


def test_a_provider_that_is_down_is_said_and_passwords_still_work(
    browser: Callable[..., TestClient], keys: tuple[RSAKey, RSAKey], store: Store
) -> None:
    """At the start, and between going there and coming back."""
    gone = SmallProvider(*keys)
    client = browser(issuer=gone.issuer)
    asked = client.get("/log-in/provider", follow_redirects=False)
    back = gone.authorize(asked.headers["location"])
    gone.close()
    answer = client.get("/log-in/provider/back", params=back, follow_redirects=False)
    assert "does not answer" in refusal(answer)
    client.app.state.provider._asked_s = 0.0  # type: ignore[attr-defined]  # as after ten minutes
    assert "your password here still works" in refusal(client.get("/log-in/provider", follow_redirects=False))
    assert [line.body["because"] for line in record(store)[-2:]] == ["provider-down"] * 2
    fields = {"csrf_token": token_in(client.get("/log-in").text), "name": "Planner", "password": WORDS}
    assert client.post("/log-in", data=fields, follow_redirects=False).headers["location"] == "/"


def test_an_answer_counts_in_the_browser_that_asked_once_and_within_ten_minutes(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """Somebody else's answer signs nobody in, nor does one that comes again or late."""
    client = browser()
    stranger = TestClient(client.app, base_url="http://127.0.0.1:8430")
    asked = client.get("/log-in/provider", follow_redirects=False)
    back = small.authorize(asked.headers["location"])
    words = "no sign-in that this browser began"
    assert words in refusal(stranger.get("/log-in/provider/back", params=back, follow_redirects=False))
    assert words in refusal(stranger.get("/log-in/provider/back", follow_redirects=False))
    assert client.get("/log-in/provider/back", params=back, follow_redirects=False).status_code == 303
    held = dict(client.cookies)
    client.cookies.clear()
    assert words in refusal(client.get("/log-in/provider/back", params=back, follow_redirects=False))
    assert held
    asked = client.get("/log-in/provider", follow_redirects=False)
    back = small.authorize(asked.headers["location"])
    client.app.state.provider._clock = lambda: time.time() + 601  # type: ignore[attr-defined]
    assert words in refusal(client.get("/log-in/provider/back", params=back, follow_redirects=False))


def test_a_mail_address_counts_only_when_the_provider_verified_it(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """In the ID token, or where it stands at the userinfo address, of the same person."""
    store.accounts.add("ann@example.org", role="viewer", password=WORDS)
    client = browser(claim="email")
    for verified in (None, False, "true"):
        small.person = {"sub": "7e1", "email": "ann@example.org", "email_verified": verified}
        assert "was verified" in refusal(come_back(client, small))
    small.person = {"sub": "7e1"}
    assert "does not say your email" in refusal(come_back(client, small))
    small.told = {"email": "ann@example.org", "email_verified": True, "sub": "another"}
    assert "two people" in refusal(come_back(client, small))
    small.told = {"email": "Ann@example.org", "email_verified": True}
    assert come_back(client, small).status_code == 303
    assert "<b>ann@example.org</b>, viewer" in client.get("/account").text


def test_who_is_unknown_becomes_a_viewer_where_that_is_set_and_who_left_does_not(
    browser: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """Never more than a viewer, whatever the provider claims; somebody who was let go stays out."""
    client = browser(unknown="viewer")
    small.person = {"sub": "9", "preferred_username": "New  Colleague", "role": "administrator", "groups": ["admin"]}
    assert come_back(client, small).status_code == 303
    assert "<b>New Colleague</b>, viewer" in client.get("/account").text
    made = next(line for line in record(store) if line.action == "user added" and line.subject == "New Colleague")
    assert made.body == {"role": "viewer", "because": small.issuer}
    store.accounts.end("New Colleague")
    assert client.get("/account", follow_redirects=False).status_code == 303
    assert "may come in here no more" in refusal(come_back(client, small))


def test_a_new_key_of_the_provider_is_fetched(
    browser: Callable[..., TestClient], small: SmallProvider, keys: tuple[RSAKey, RSAKey]
) -> None:
    """Without waiting for anything, when an answer names a key that was not there before."""
    client = browser()
    assert come_back(client, small).status_code == 303
    client.cookies.clear()
    small.key = keys[1]
    assert come_back(client, small).status_code == 303
    assert small.asked.count("/keys") == 2
    assert small.asked.count("/.well-known/openid-configuration") == 1


def test_who_goes_on_failing_waits_and_the_record_does_not_grow(
    browser: Callable[..., TestClient], store: Store
) -> None:
    """As with passwords; passwords from the same address are not slowed by it."""
    client = browser()
    seen = [client.get("/log-in/provider/back?state=x", follow_redirects=False) for _ in range(33)]
    assert [answer.status_code for answer in seen[:30]] == [403] * 30
    assert seen[-1].status_code == 429
    assert int(seen[-1].headers["retry-after"]) >= 1
    assert sum(line.action == "sign-in refused" for line in record(store)) < 33
    fields = {"csrf_token": token_in(client.get("/log-in").text), "name": "Planner", "password": WORDS}
    assert client.post("/log-in", data=fields, follow_redirects=False).headers["location"] == "/"


def test_another_site_starts_no_sign_in_and_after_leads_nowhere_else(
    browser: Callable[..., TestClient], small: SmallProvider
) -> None:
    """A link from elsewhere ends at the log-in page; who is signed in is not sent away."""
    client = browser()
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    answer = client.get("/log-in/provider", headers=headers, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/log-in")
    assert not small.asked
    assert come_back(client, small, after="//other.example.org/").headers["location"] == "/"
    for address in ("/log-in/provider", "/log-in/provider/back?error=x"):
        assert client.get(address, follow_redirects=False).headers["location"] == "/"


def test_without_users_or_without_a_provider_there_is_no_such_door(
    client_with: Callable[..., TestClient], small: SmallProvider, store: Store
) -> None:
    """Whoever sits at this machine works without a password; with users alone, the password page has no link."""
    settings = ProviderSettings(small.issuer, CLIENT, "preferred_username", BACK, SECRET, "viewer", "there")
    client = client_with(provider=settings)
    assert client.get("/").status_code == 200
    assert client.get("/log-in/provider", follow_redirects=False).headers["location"] == "/"
    assert not small.asked
    store.accounts.add("Chief", role="administrator", password=WORDS)
    plain = client_with()
    assert "/log-in/provider" not in plain.get("/log-in").text
    for address in ("/log-in/provider", "/log-in/provider/back?code=a&state=b"):
        assert plain.get(address, follow_redirects=False).headers["location"] == "/log-in"


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"SFN_DELAYS_OIDC_CLAIM": ""}, "SFN_DELAYS_OIDC_CLAIM"),
        ({"SFN_DELAYS_OIDC_ISSUER": ""}, "SFN_DELAYS_OIDC_ISSUER"),
        ({"SFN_DELAYS_OIDC_ISSUER": "http://sign-in.example.org"}, "https://"),
        ({"SFN_DELAYS_OIDC_ISSUER": "https://[sign-in"}, "https://"),
        ({"SFN_DELAYS_OIDC_ISSUER": "https://sign-in.example.org?x=1"}, "https://"),
        ({"SFN_DELAYS_OIDC_CLAIM": "two claims"}, "one claim"),
        ({"SFN_DELAYS_OIDC_UNKNOWN": "planner"}, "refuse or viewer"),
        ({"SFN_DELAYS_PUBLIC_URL": ""}, "no public address is set"),
    ],
)
def test_a_provider_that_is_set_in_part_refuses_to_start(tmp_path: Path, changed: dict[str, str], words: str) -> None:
    """Each says which variable, and what would be right."""
    with pytest.raises(PlanError, match=re.escape(words)):
        read_settings({**ENVIRON, **changed}, data_folder=str(tmp_path))


def test_the_secret_is_of_the_environment_or_of_the_secrets_file(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without one nothing starts, nor without the library; it is never printed."""
    bare = {name: value for name, value in ENVIRON.items() if name != "SFN_DELAYS_OIDC_SECRET"}
    store.accounts.add("Chief", role="administrator", password=WORDS)
    (tmp_path / "secrets.json").write_text("{}", encoding="utf-8")  # networks without the file are refused before
    (tmp_path / "secrets.json").chmod(0o600)
    with pytest.raises(PlanError, match="has no secret"):
        closed(read_settings(bare, data_folder=str(tmp_path)), store)
    monkeypatch.setattr("sys.stdin", io.StringIO("of the file\n"))
    assert main(["--data", str(tmp_path), "--set-provider-secret"]) == 0
    settings = read_settings(bare, data_folder=str(tmp_path))
    closed(settings, store)
    assert settings.provider is not None
    assert settings.provider.secret == "of the file"
    assert json.loads((tmp_path / SECRETS_FILE).read_text())["oidc_client_secret"] == "of the file"
    assert "of the file" not in repr(settings) + capsys.readouterr().out
    both = read_settings(ENVIRON, data_folder=str(tmp_path))
    assert both.provider is not None
    assert (both.provider.secret, both.provider.back, both.provider.name) == (SECRET, BACK, "sign-in.example.org")
    monkeypatch.setattr(provider_module, "find_spec", lambda _name: None)
    with pytest.raises(PlanError, match="not installed"):
        closed(both, store)

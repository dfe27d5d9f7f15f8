"""Users: the first, further ones, what each role may do, sessions on the server, tokens, and names that are proven."""

import base64
import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.conftest import token_in
from webapp.__main__ import main
from webapp.store import passwords
from webapp.store.passwords import Attempts, token_hash
from webapp.store.roles import KEEPER, ROLES, Person, may, needed
from webapp.store.store import Store

WORDS = "several words do well"
CHEAP = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@pytest.fixture(autouse=True)
def _cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cheap parameters: the point here is the door, not the lock's strength."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: CHEAP)


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


@pytest.fixture
def team(store: Store) -> Store:
    """A store with a user of every role, named by it."""
    for role in ("administrator", *(one for one in ROLES if one != "administrator")):
        store.accounts.add(role.capitalize(), role=role, password=WORDS)
    return store


@pytest.fixture
def signed_in(client_with: Callable[..., TestClient], team: Store) -> Callable[..., TestClient]:
    """A browser that somebody is signed in with."""

    def make(name: str, **changes: Any) -> TestClient:
        client = client_with(**changes)
        answer = log_in(client, name)
        assert answer.status_code == 303, answer.text
        return client

    return make


def log_in(client: TestClient, name: str, password: str = WORDS) -> Any:
    """Send the log-in form."""
    fields = {"csrf_token": token_in(client.get("/log-in").text), "name": name, "password": password}
    return client.post("/log-in", data=fields, follow_redirects=False)


def send(client: TestClient, address: str, page: str = "/account", **fields: str) -> Any:
    """Send a form with the token of a page."""
    token = token_in(client.get(page).text)
    return client.post(address, data={"csrf_token": token, **fields}, follow_redirects=False)


def test_the_first_user_turns_a_machine_of_ones_own_into_a_team(client: TestClient, store: Store) -> None:
    """Without users nothing is asked; the first is an administrator and signed in, and everybody else is asked then."""
    assert client.get("/").status_code == 200
    answer = send(client, "/users", "/users", name="  Ada  Byron ", password=WORDS)
    assert answer.status_code == 303
    assert [("Ada Byron", "administrator")] == [(one.name, one.role) for one in store.accounts.users()]
    assert "Ada Byron" in client.get("/users").text
    stranger = TestClient(client.app, base_url="http://127.0.0.1:8430")
    assert stranger.get("/", follow_redirects=False).headers["location"] == "/log-in"
    assert stranger.get("/api/networks").status_code == 401
    assert log_in(stranger, "ada byron").headers["location"] == "/"
    assert stranger.get("/").status_code == 200


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"name": "", "password": WORDS}, "user-name"),
        ({"name": "x" * 121, "password": WORDS}, "user-name"),
        ({"name": "Ada", "password": "short"}, "password-length"),
        ({"name": "Ada", "password": "several words do well" * 7}, "password-length"),
        ({"name": "Ada", "password": "passwordpassword"}, "password-guessed"),
    ],
)
def test_a_user_that_cannot_be_is_refused(client: TestClient, store: Store, fields: dict[str, str], code: str) -> None:
    """In words, and nobody is added; the password is not sent back."""
    answer = client.post("/api/pages/users", json=fields)
    assert answer.status_code == 422
    assert [problem["code"] for problem in answer.json()["problems"]] == [code]
    assert "password" not in answer.json()["typed"]
    assert not store.accounts.some()


@pytest.mark.parametrize("letter", ["\u034f", "\u115f", "\u180b", "\u3164", "\ufe0f", "\U000e0100"])
def test_a_name_with_a_letter_that_nobody_sees_is_refused(store: Store, letter: str) -> None:
    """Else two people could read the same in every record."""
    store.accounts.add("Admin", role="administrator", password=WORDS)
    with pytest.raises(PlanError, match="nobody sees") as refused:
        store.accounts.add(f"Ad{letter}min", role="planner", password=WORDS)
    assert [problem.code for problem in refused.value.problems] == ["user-name-unseen"]


def test_names_that_look_alike_are_one_or_refused(store: Store) -> None:
    """Composed and decomposed, full width, and one letter of another alphabet; whole names of another are taken."""
    store.accounts.add("Admin", role="administrator", password=WORDS)
    store.accounts.add("caf\u00e9 bobby", role="viewer", password=WORDS)
    for twin in ("cafe\u0301 bobby", "caf\u00e9 \uff42obby", "\u0430dmin"):
        with pytest.raises(PlanError):
            store.accounts.add(twin, role="viewer", password=WORDS)
    assert store.accounts.find("cafe\u0301 BOBBY") is not None
    store.accounts.add("Анна Иванова", role="viewer", password=WORDS)
    store.accounts.add("Έλλη Smith", role="viewer", password=WORDS)


def test_names_are_taken_once_and_the_last_administrator_stays(store: Store) -> None:
    """Letter case apart; nobody locks everybody out."""
    store.accounts.add("Ada", role="administrator", password=WORDS)
    for act in (
        lambda: store.accounts.add("ADA", role="viewer", password=WORDS),
        lambda: store.accounts.set_role("Ada", "viewer"),
        lambda: store.accounts.end("Ada"),
        lambda: store.accounts.set_role("Ada", "king"),
        lambda: store.accounts.set_role("Nobody", "viewer"),
    ):
        with pytest.raises(PlanError):
            act()
    store.accounts.add("Grace", role="administrator", password=WORDS)
    store.accounts.end("Ada")
    assert [True, False] == [one.ended_at is not None for one in store.accounts.users()]


MATRIX = {
    "viewer": "read compute",
    "technician": "read record",
    "controller": "read compute record issue control",
    "planner": "read compute plan record issue",
    "approver": "read compute record approve issue",
    "administrator": "read compute plan record approve issue control administer",
}


def test_roles_may_what_they_say() -> None:
    """Written out a second time; a token for reading lets nobody do more than look and compute."""
    every = set(MATRIX["administrator"].split())
    for role, words in MATRIX.items():
        assert set(words.split()) == {a for a in every if may(Person("x", role, "session", 1), a)}  # type: ignore[arg-type]
        reading = Person("x", role, "token", 1, "read")
        assert set(words.split()) & {"read", "compute"} == {a for a in every if may(reading, a)}  # type: ignore[arg-type]
    assert may(KEEPER, "administer")
    assert not may(Person("x", "king", "session", 1), "read")


@pytest.mark.parametrize(
    ("method", "path", "action"),
    [
        ("GET", "/networks/{network_id}", "read"),
        ("POST", "/networks/{network_id}/edit", "plan"),
        ("PUT", "/api/networks/{network_id}", "plan"),
        ("POST", "/api/pages/networks/{network_id}/edit", "plan"),
        ("POST", "/networks/{network_id}/sheets/{site_id}/sign", "approve"),
        ("POST", "/api/pages/networks/{network_id}/sheets/issue", "issue"),
        ("POST", "/networks/{network_id}/signals", "compute"),
        ("POST", "/api/networks/{network_id}/road.{form}", "compute"),
        ("POST", "/networks/{network_id}/measurements/residuals.{form}", "compute"),
        ("POST", "/services/upload", "administer"),
        ("GET", "/users", "administer"),
        ("GET", "/api/pages/record", "administer"),
        ("GET", "/record.jsonl", "administer"),
        ("POST", "/site/{token}", None),
        ("POST", "/something/new", "plan"),
        ("POST", "/networks/{network_id}/sheets/a/b/sign", "plan"),
    ],
)
def test_addresses_need_what_they_do(method: str, path: str, action: str | None) -> None:
    """By the path that a route was written with; what is not in the table needs a planner."""
    assert needed(method, path) == action


@pytest.mark.parametrize("spelled", ["+1", "%201", "1.0", "01", "1_0", "%D9%A1", "1%20"])
def test_a_number_written_otherwise_opens_nothing(
    signed_in: Callable[..., TestClient], team: Store, number: int, spelled: str
) -> None:
    """One network has one address: no role, no token and no refusal of cross-site requests is passed by another."""
    assert number == 1
    admin, viewer = signed_in("administrator"), signed_in("viewer")
    token = team.accounts.add_token(_id_of(team, "Administrator"), label="reads", scope="read")
    bearer = {"Authorization": f"Bearer {token}"}
    for under in ("", "/api/pages"):
        for beside in ("readings/links", "readings/links.pdf", "sheets"):
            where = f"{under}/networks/{spelled}/{beside}"
            assert admin.get(where).status_code == 404, where
            assert viewer.get(where).status_code in (403, 404)
    assert viewer.get(f"/api/pages/networks/{spelled}/readings/links", headers=bearer).status_code in (403, 404)
    assert viewer.get("/api/pages/networks/1/readings/links", headers=bearer).status_code == 403
    assert viewer.get("/networks/1/readings/links").status_code == 403
    assert team.links.of(1) == ()


def _id_of(store: Store, name: str) -> int:
    return next(one.id for one in store.accounts.users() if one.name == name)


def test_a_role_is_refused_what_it_may_not(signed_in: Callable[..., TestClient], number: int, team: Store) -> None:
    """In words that name the roles that may; and nothing is done. The administrator's pages are not shown."""
    viewer = signed_in("viewer")
    answer = send(viewer, f"/networks/{number}/delete")
    assert answer.status_code == 403
    assert "may not change plans" in answer.text
    assert "planner, administrator" in answer.text
    assert team.read(number).revision.number == 1
    assert viewer.get("/users").status_code == 403
    assert viewer.get("/record").status_code == 403
    assert "Record</a>" not in viewer.get("/").text
    planner = signed_in("planner")
    assert send(planner, f"/networks/{number}/delete").status_code == 303


def test_what_is_saved_bears_the_proven_name(signed_in: Callable[..., TestClient], number: int, team: Store) -> None:
    """Whatever name is typed or sent; the typed one is kept as a remark in the record."""
    planner = signed_in("planner")
    document = team.read(number).document
    token = token_in(planner.get("/account").text)
    body = {"document": document, "base_revision": 1, "author": "Somebody Else", "reason": "why not"}
    answer = planner.put(f"/api/networks/{number}", json=body, headers={"x-csrf-token": token})
    assert answer.json()["author"] == "Planner"
    sent = {
        "base": "2",
        "stage": document["sites"][0]["chains"][0]["stages"][-1],
        "firmware": "v9",
        "day": "2026-11-01",
    }
    assert send(planner, f"/networks/{number}/ages", author="Nobody", **sent).status_code == 303
    assert [line.author for line in team.history(number)] == ["Planner", "Planner", "test"]
    lines = [line for line in team.audit.lines(network_id=number) if line.action == "saved"]
    assert [line.who for line in lines] == ["Planner", "Planner", "test"]
    assert [line.body.get("typed_name") for line in lines] == ["Nobody", "Somebody Else", None]
    assert {line.role for line in lines} == {"planner", ""}


def test_a_session_ends_on_the_server(signed_in: Callable[..., TestClient], team: Store) -> None:
    """A cookie that was copied opens nothing after log-out, a password change, the user's end or twelve hours."""
    ends: list[Callable[[TestClient], object]] = [
        lambda browser: send(browser, "/log-out"),
        lambda browser: send(browser, "/account/sign-out-everywhere"),
        lambda _browser: team.accounts.set_password("Planner", WORDS),
        lambda _browser: team.accounts.end("Planner"),
    ]
    for end in ends:
        browser = signed_in("planner")
        copied = TestClient(browser.app, base_url="http://127.0.0.1:8430", cookies=dict(browser.cookies))
        assert copied.get("/", follow_redirects=False).status_code == 200
        end(browser)
        assert copied.get("/", follow_redirects=False).status_code == 303


def test_each_session_is_listed_and_ended_alone(signed_in: Callable[..., TestClient], team: Store) -> None:
    """One's own only, with the password; it counts at the other browser's next request, and no other is ended."""
    here, other, viewer = signed_in("planner"), signed_in("planner"), signed_in("viewer")
    listed = re.findall(r'name="session" value="([0-9a-f]{16})"', here.get("/account").text)
    assert len(listed) == 2
    assert here.get("/account").text.count("this browser") == 1
    planner, theirs = team.accounts.find("Planner"), team.accounts.find("Viewer")
    assert planner
    assert theirs
    held = {one.here: one.id for one in team.accounts.sessions(planner.id, here=str(session_of(other)))}
    ending = here.get("/account").text.partition('action="/account/sessions/end"')[2]
    first = re.findall(r"<button[^>]*>", ending)[0]
    assert "disabled" in first, "Enter in the password's field presses the first button, which is to end nothing"
    assert set(held.values()) == set(listed)
    for fields in ({"session": held[True], "now": "not the password"}, {"session": held[True]}):
        assert send(here, "/account/sessions/end", **fields).status_code == 403
    foreign = team.accounts.sessions(theirs.id)[0].id
    assert send(here, "/account/sessions/end", session=foreign, now=WORDS).status_code == 422
    assert send(here, "/account/sessions/end", session="", now=WORDS).status_code == 422
    assert other.get("/", follow_redirects=False).status_code == 200
    assert send(here, "/account/sessions/end", session=held[True], now=WORDS).status_code == 303
    assert other.get("/", follow_redirects=False).status_code == 303
    assert other.post("/networks/1/delete", follow_redirects=False).status_code in (303, 403)
    assert viewer.get("/", follow_redirects=False).status_code == 200
    assert here.get("/account").text.count('name="session"') == 1
    assert team.audit.lines(action="session ended")[0].who == "Planner"


def session_of(browser: TestClient) -> str:
    """What the cookie of a browser holds: signed, and to be read by anybody who has it."""
    cookie = next(value for name, value in browser.cookies.items() if name.endswith("session"))
    return str(json.loads(base64.b64decode(cookie.split(".")[0]))["sid"])


def test_a_session_lasts_a_working_day(store: Store) -> None:
    """Twelve hours, on the server's clock."""
    now = [datetime(2026, 11, 1, 8, tzinfo=UTC)]
    store.accounts._clock = lambda: now[0]  # the store's own clock argument, after its making
    store.accounts.add("Ada", role="administrator", password=WORDS)
    held = store.accounts.sign_in("Ada", address="here")
    now[0] += timedelta(hours=11, minutes=59)
    assert store.accounts.of_session(held) == Person("Ada", "administrator", "session", 1)
    now[0] += timedelta(minutes=2)
    assert store.accounts.of_session(held) is None


def test_a_token_is_shown_once_counts_at_once_and_is_revoked(
    signed_in: Callable[..., TestClient], number: int, team: Store
) -> None:
    """Of a user, with a scope; kept as a hash; ends with its revocation, its days, or its user."""
    planner = signed_in("planner")
    made = send(planner, "/account/tokens", label="nightly script", scope="write")
    token = made.text.partition('<code class="token">')[2].partition("<")[0]
    assert len(token) > 30
    assert token not in planner.get("/account").text
    assert "nightly script" in planner.get("/account").text
    script = TestClient(planner.app, base_url="http://127.0.0.1:8430", headers={"authorization": f"Bearer {token}"})
    assert script.get("/api/networks").status_code == 200
    assert script.get("/", follow_redirects=False).status_code == 303, "pages need a session"
    assert script.delete(f"/api/networks/{number}").status_code == 204
    assert team.audit.lines(action="deleted")[0].who == "Planner"
    assert send(planner, "/account/tokens/1/revoke").status_code == 303
    assert script.get("/api/networks").status_code == 401
    reading = team.accounts.add_token(team.accounts.users()[0].id, label="looks", scope="read", days=1)
    script.headers["authorization"] = f"Bearer {reading}"
    assert script.get("/api/networks").status_code == 200
    refused = script.post(f"/api/networks/{number}/undelete")
    assert (403, "not-allowed") == (refused.status_code, refused.json()["problems"][0]["code"])
    administrator = signed_in("administrator")
    assert "looks" in administrator.get("/users").text
    assert send(administrator, "/users/tokens/2/revoke").status_code == 303
    assert script.get("/api/networks").status_code == 401
    assert send(planner, "/account/tokens/2/revoke").status_code == 404, "of somebody else"


def test_a_token_of_before_stays_an_administrators(
    client_with: Callable[..., TestClient], team: Store, number: int, example: dict[str, Any]
) -> None:
    """The installation's one token works beside users, and the name it sends is kept as it is."""
    client = client_with(api_token_hash=token_hash("secret"))
    headers = {"authorization": "Bearer secret"}
    body = {"document": example, "base_revision": 1, "author": "nightly", "reason": "again"}
    answer = client.put(f"/api/networks/{number}", json=body, headers=headers)
    assert (200, "nightly") == (answer.status_code, answer.json()["author"])
    assert client.get("/api/pages/users", headers=headers).status_code == 200


def test_the_password_of_before_opens_nothing_once_there_are_users(
    client_with: Callable[..., TestClient], team: Store
) -> None:
    """One shared password proves no name."""
    client = client_with(password_hash=CHEAP.hash("the shared password"))
    assert log_in(client, "", "the shared password").status_code == 403
    assert log_in(client, "planner").status_code == 303


def test_a_token_made_by_the_command_counts_at_once(client_with: Callable[..., TestClient], settings: Any) -> None:
    """Also where the application runs already."""
    client = client_with(password_hash=CHEAP.hash("the shared password"))
    assert client.get("/api/networks", headers={"authorization": "Bearer made later"}).status_code == 401
    held = {"api_token_hash": token_hash("made later"), "password_hash": CHEAP.hash("the shared password")}
    (settings.data_folder / "secrets.json").write_text(json.dumps(held), encoding="utf-8")
    assert client.get("/api/networks", headers={"authorization": "Bearer made later"}).status_code == 200
    (settings.data_folder / "secrets.json").write_text("{", encoding="utf-8")
    assert client.get("/api/networks").status_code == 401, "a damaged file opens nothing"


def test_guessing_slows_the_guesser_and_nobody_else(client_with: Callable[..., TestClient], team: Store) -> None:
    """Per address and name; whoever is signed in works on; an address that tries many names is slowed too."""
    signed = client_with()
    assert log_in(signed, "planner").status_code == 303
    guesser = TestClient(signed.app, base_url="http://127.0.0.1:8430")
    for _ in range(3):
        assert log_in(guesser, "planner", "wrong words here").status_code == 403
    assert log_in(guesser, "planner").status_code == 429
    assert signed.get("/", follow_redirects=False).status_code == 200
    attempts, held = Attempts(clock=lambda: 0.0), CHEAP.hash(WORDS)
    for _ in range(4):
        attempts.check("no", held, address="1", name="Ada")
    assert attempts.check(WORDS, held, address="1", name="ada") == (False, 1)
    assert attempts.check(WORDS, held, address="2", name="Ada") == (True, 0)
    assert attempts.check(WORDS, held, address="1", name="Grace") == (True, 0)
    for n in range(27):
        attempts.check("no", held, address="1", name=f"guess {n}")
    assert attempts.check(WORDS, held, address="1", name="Grace")[1] > 0


def test_the_commands_make_and_end_users(
    tmp_path: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the server; and what they did is in the record, which is whole."""
    typed = tmp_path / "typed"
    typed.write_text(f"{WORDS}\n", encoding="utf-8")

    def command(*words: str) -> int:
        with typed.open(encoding="utf-8") as stdin:
            monkeypatch.setattr("sys.stdin", stdin)
            return main(["--data", str(tmp_path), *words])

    assert command("user", "add", "Grace", "--role", "planner") == 2
    assert "administrator" in capsys.readouterr().err
    assert command("user", "add", "Ada", "--role", "administrator") == 0
    assert command("user", "add", "Grace", "--role", "planner") == 0
    assert command("user", "role", "Grace", "approver") == 0
    assert command("user", "end", "Grace") == 0
    assert command("user", "end", "Ada") == 2
    capsys.readouterr()
    assert command("user", "list") == 0
    listed = capsys.readouterr().out
    assert "Ada\tadministrator" in listed
    assert "Grace\tapprover  ended" in listed
    assert command("audit-verify") == 0
    assert capsys.readouterr().out.startswith("4 lines")


@pytest.mark.parametrize(
    "environ",
    [
        {"SFN_DELAYS_HOST": "0.0.0.0"},
        {"SFN_DELAYS_HOSTNAMES": "sfn.example.org"},
        {"SFN_DELAYS_PUBLIC_URL": "https://sfn.example.org"},
        {"SFN_DELAYS_HTTPS": "yes"},
        {"SFN_DELAYS_APPROVAL": "other"},
    ],
)
def test_what_others_are_meant_to_reach_does_not_start_open(
    tmp_path: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, environ: dict[str, str]
) -> None:
    """A lost or damaged secrets file opens nothing: it does not start, and says what to do."""
    for name, value in environ.items():
        monkeypatch.setenv(name, value)
    assert main(["--data", str(tmp_path), "--port", "0"]) == 2
    assert "user add NAME --role administrator" in capsys.readouterr().err
    for damaged in ("[]", '{"password_hash": 1}', '"x"', "{"):
        (tmp_path / "secrets.json").write_text(damaged, encoding="utf-8")
        assert main(["--data", str(tmp_path), "--port", "0"]) == 2
        assert "secrets.json" in capsys.readouterr().err


def test_an_approver_is_another_person(
    signed_in: Callable[..., TestClient], team: Store, example: dict[str, Any]
) -> None:
    """With the setting: neither a planner nor who changed the plan signs off or issues; without it roles alone count."""
    number = team.create(example, author="Administrator", reason="first").network_id
    sheet, form = f"/networks/{number}/sheets", {"revision": "1"}
    planner = signed_in("planner", approval="other")
    refused = send(planner, f"{sheet}/issue", **form)
    assert refused.status_code == 403
    assert "may not answer for doubts" in refused.text
    administrator = signed_in("administrator", approval="other")
    refused = send(administrator, f"{sheet}/issue", **form)
    assert refused.status_code == 403
    assert "Administrator changed what is to be approved" in refused.text
    approver = signed_in("approver", approval="other")
    for site in ("north", "south", "gap"):
        send(approver, f"{sheet}/{site}/sign", signed_by="Somebody Else", **form)
    assert send(approver, f"{sheet}/issue", **form).status_code == 303
    issued = [entry for entry in team.entries.of(number) if entry.kind == "issue"]
    assert {"Approver"} == {entry.made_by for entry in issued}
    assert {"Approver"} == {entry.made_by for entry in team.entries.of(number, kind="sign-off")}
    newest = team.read(number)
    team.save(number, newest.document, base_revision=newest.revision.number, author="Approver", reason="mine now")
    again = send(approver, f"{sheet}/issue", revision=str(newest.revision.number + 1))
    assert again.status_code == 403, "what an approver changed needs another one"


def test_the_setting_is_read_and_says_what_it_may_be(tmp_path: Any) -> None:
    """SFN_DELAYS_APPROVAL."""
    from webapp.config.settings import read_settings

    assert read_settings({"HOME": str(tmp_path), "SFN_DELAYS_APPROVAL": "other"}).approval == "other"
    with pytest.raises(PlanError):
        read_settings({"HOME": str(tmp_path), "SFN_DELAYS_APPROVAL": "yes"})


@pytest.mark.parametrize(
    "password",
    [
        "passwordpassword",
        "Password1234567890",
        "123456789012",
        "aaaaaaaaaaaa",
        "qwertyuiopas",
        "Ada Byron 1815",
        "letmein-letmein!",
    ],
)
def test_what_everybody_guesses_is_no_password(password: str) -> None:
    """Common words, runs, repeats, the name itself with a year; other words are taken."""
    assert passwords.easily_guessed(password, name="Ada Byron")
    assert not passwords.easily_guessed("several words do well", name="Ada Byron")
    assert not passwords.easily_guessed("password of my grandmother's bicycle")


def test_a_refusal_is_in_the_record(signed_in: Callable[..., TestClient], number: int, team: Store) -> None:
    """Who wanted what and may not."""
    send(signed_in("viewer"), f"/networks/{number}/delete")
    line = team.audit.lines(action="refused")[0]
    assert ("Viewer", "POST", f"/networks/{number}/delete") == (line.who, line.body["method"], line.body["path"])


def test_behind_tls_the_cookie_is_this_hosts_alone(client_with: Callable[..., TestClient]) -> None:
    """Secure, with the prefix that browsers hold it to."""
    set_by = client_with(https=True).get("/").headers["set-cookie"]
    assert set_by.startswith("__Host-")
    assert "secure" in set_by.lower()
    assert "path=/;" in set_by.lower()
    assert "domain" not in set_by.lower()


def test_a_password_is_changed_with_the_one_of_now(signed_in: Callable[..., TestClient], team: Store) -> None:
    """In the body, never in an address; this browser stays signed in with a new session, the record has no password."""
    planner = signed_in("planner")
    before = planner.cookies["sfn_delays_session"]
    wrong = send(planner, "/account/password", now="not this one", password="another few words")
    assert wrong.status_code == 403
    assert "this is not the password" in wrong.text
    assert "another few words" not in wrong.text
    assert send(planner, "/account/password", now=WORDS, password="short").status_code == 422
    assert send(planner, "/account/password", now=WORDS, password="another few words").status_code == 303
    assert planner.get("/", follow_redirects=False).status_code == 200
    assert planner.cookies["sfn_delays_session"] != before
    assert team.accounts.matches("planner", "another few words")
    assert "few words" not in json.dumps([line.as_json() for line in team.audit.all()])


def test_a_planted_session_gains_nothing(client_with: Callable[..., TestClient], team: Store) -> None:
    """What a browser held before it signed in opens nothing afterwards."""
    client = client_with()
    client.get("/log-in")
    planted = dict(client.cookies)
    assert log_in(client, "planner").status_code == 303
    other = TestClient(client.app, base_url="http://127.0.0.1:8430", cookies=planted)
    assert other.get("/", follow_redirects=False).status_code == 303


def test_password_fields_are_open_to_password_managers(client_with: Callable[..., TestClient], team: Store) -> None:
    """Each says what it is."""
    client = client_with()
    text = client.get("/log-in").text
    assert 'autocomplete="username"' in text
    assert 'autocomplete="current-password"' in text
    log_in(client, "administrator")
    assert client.get("/account").text.count('autocomplete="new-password"') == 1
    assert 'autocomplete="new-password"' in client.get("/users").text


def test_a_controller_issues_in_an_emergency_with_its_reason(
    signed_in: Callable[..., TestClient], team: Store, example: dict[str, Any]
) -> None:
    """Without waiting for an approver, never for one's own plan, never what is withheld or not signed; on the record."""
    number = team.create(example, author="Planner", reason="first").network_id
    sheet, form = f"/networks/{number}/sheets", {"revision": "1"}
    controller = signed_in("controller", approval="other")
    why = {"emergency": "north is off air, the spare exciter is in"}
    assert send(controller, f"{sheet}/issue", **form).status_code == 403, "not without a reason"
    assert send(controller, f"{sheet}/issue", **form, **why).status_code == 422, "what needs a sign-off waits for it"
    assert send(controller, f"{sheet}/north/sign", **form).status_code == 403
    approver = signed_in("approver", approval="other")
    for site in ("north", "south", "gap"):
        send(approver, f"{sheet}/{site}/sign", **form)
    assert send(signed_in("planner", approval="other"), f"{sheet}/issue", **form, **why).status_code == 403
    assert send(controller, f"{sheet}/issue", **form, **why).status_code == 303
    line = team.audit.lines(action="emergency issue")[0]
    assert ("Controller", why["emergency"]) == (line.who, line.body["reason"])
    newest = team.read(number)
    team.save(number, newest.document, base_revision=newest.revision.number, author="Controller", reason="mine")
    again = {"revision": str(newest.revision.number + 1), **why}
    assert send(controller, f"{sheet}/issue", **again).status_code == 403, "not one's own plan"

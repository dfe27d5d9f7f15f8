"""The work packet: change plan, every sheet and signed links in one PDF, or every reason why there is none."""

import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in, when_made
from tests.webapp.paper_text import bare, codes_of, pictures_n, text_of
from webapp.__main__ import main
from webapp.config.settings import Settings, write_secrets
from webapp.on_air import packet as on_air_packet
from webapp.on_air.site_links import read_link
from webapp.store.audit import ACTING, Acting
from webapp.store.roles import NotAllowedError
from webapp.store.store import Store
from webapp.work.jobs import Progress

PUBLIC = "https://sfn.example.org"
JSON = {"Content-Type": "application/json"}


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def reasons(client: TestClient, number: int) -> list[str]:
    """The codes of what a packet is refused for."""
    answer = client.post(f"/api/networks/{number}/packet", headers=JSON)
    assert answer.status_code == 422, answer.text[:200]
    return sorted({one["code"] for one in answer.json()["problems"]})


def test_the_packet_holds_plan_sheets_and_links_and_its_codes_open_the_technicians_pages(
    client_with: Callable[..., TestClient], client: TestClient, number: int, issue: Callable[[int], int], poppler: None,
    tmp_path: Path,
) -> None:  # fmt: skip
    """Read as a scanner reads it: each sheet's code is its site's signed page, of this revision, and opens it."""
    revision = issue(number)
    outside = client_with(public_url=PUBLIC)
    answer = outside.post(f"/api/networks/{number}/packet?paper=letter", headers=JSON)
    assert answer.headers["content-type"] == "application/pdf"
    pages = text_of(answer.content, tmp_path, "-layout").split("\f")[:-1]
    checksum = client.get(f"/api/networks/{number}").json()["checksum"]

    for place, page in enumerate(pages, 1):
        assert f"revision {revision} · {checksum}" in page
        assert f"page {place} of {len(pages)}" in page
    titles = [next(line.strip() for line in page.splitlines() if line.strip()) for page in pages]
    assert titles[0] == "Change plan"
    sheets = {place: title for place, title in enumerate(titles) if title.endswith("field sheet")}
    assert sorted(sheets.values()) == ["Gap: field sheet", "North ridge: field sheet", "South ridge: field sheet"]
    links = codes_of(answer.content, tmp_path, page=len(pages))
    for place, title in sheets.items():
        [code] = codes_of(answer.content, tmp_path, page=place + 1)
        assert code.startswith(f"{PUBLIC}/site/")
        assert code.endswith(f"#revision-{revision}")
        opened = client.get(code.removeprefix(PUBLIC).partition("#")[0])
        assert opened.status_code == 200
        assert title.removesuffix(": field sheet") in opened.text
        assert code in links
        assert "without a log-in, until" in re.sub(r"\s+", " ", pages[place])
    assert len(links) == 3


def test_a_sheet_alone_says_that_its_code_needs_the_log_in(
    client: TestClient, client_with: Callable[..., TestClient], store: Store, number: int, issue: Callable[[int], int],
    poppler: None, tmp_path: Path,
) -> None:  # fmt: skip
    """The code names its revision; with users it says that it opens the sheet after the log-in."""
    revision = issue(number)
    store.accounts.add("A. Viewer", role="administrator", password="correct horse battery")
    outside = client_with(public_url=PUBLIC, allowed_hosts=("sfn.example.org",))
    csrf = re.search(r'name="csrf_token" value="([^"]+)"', outside.get("/log-in").text)
    assert csrf
    fields = {"csrf_token": csrf[1], "name": "A. Viewer", "password": "correct horse battery"}
    assert outside.post("/log-in", data=fields, follow_redirects=False).status_code == 303
    made = outside.get(f"/networks/{number}/sheets/gap/sheet.pdf").content

    assert codes_of(made, tmp_path) == [f"{PUBLIC}/networks/{number}/sheets/gap?revision={revision}"]
    said = re.sub(r"\s+", " ", text_of(made, tmp_path, "-raw"))
    assert f"revision {revision}: the code opens it after the log-in" in said


def test_without_a_public_address_there_is_no_code(
    client: TestClient, number: int, issue: Callable[[int], int], post: Callable[..., Any], poppler: None, tmp_path: Path
) -> None:  # fmt: skip
    """A code that only this machine could open is none: the packet says so."""
    issue(number)
    made = when_made(client, post(f"/networks/{number}/packet.pdf", days="14", paper="a4")).content
    assert pictures_n(made, tmp_path) == 0
    assert "the application has no public address" in text_of(made, tmp_path, "-raw").replace("\n", " ")


def test_a_packet_is_refused_as_an_issue_is(
    client: TestClient, store: Store, number: int, issue: Callable[[int], int], post: Callable[..., Any]
) -> None:
    """Unsigned, not issued, withheld: each by its code, on the page in words, and no link is made."""
    assert reasons(client, number) == ["sign-off-missing"]
    for site in ("north", "south", "gap"):
        post(f"/networks/{number}/sheets/{site}/sign", revision="1", signed_by="A. Engineer")
    assert reasons(client, number) == ["sheet-not-issued"]
    page = client.get(f"/networks/{number}/packet").text
    assert "There is no packet yet" in page
    assert "the sheet of North ridge is not issued" in page
    assert "packet.pdf" not in page
    assert store.links.of(number) == ()

    issue(number)
    assert "packet.pdf" in client.get(f"/networks/{number}/packet").text
    document = store.read(number).document
    document["stages"][3]["release_delay_us"] = 100_000
    store.save(number, document, base_revision=2, author="test", reason="too short")
    assert "buffer-underrun" in reasons(client, number)
    assert post(f"/networks/{number}/packet.pdf", days="14", paper="a4").status_code == 422
    assert post(f"/networks/{number}/packet.pdf", days="soon", paper="a5").status_code == 422


def test_a_packet_of_stale_sheets_is_refused(
    client: TestClient, store: Store, number: int, issue: Callable[[int], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Issued with other figures of the service: stale, whatever else is in order."""
    issue(number)
    monkeypatch.setattr("sfn.study.sheet.stamped_checksum", lambda network: "0badf00d")
    assert reasons(client, number) == ["sheet-stale"]


def test_a_packet_that_takes_longer_is_a_job_with_progress(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Nobody waits for it: the job tells its pages and ends at the PDF, which is this network's alone."""
    issue(number)
    monkeypatch.setattr(on_air_packet, "AT_ONCE_S", 0.0)
    told: list[tuple[str, int, int]] = []
    tell = Progress.tell

    def heard(self: Progress, phase: str, *, done: int, total: int, **more: Any) -> None:
        told.append((phase, done, total))
        tell(self, phase, done=done, total=total, **more)

    monkeypatch.setattr(Progress, "tell", heard)
    answer = post(f"/networks/{number}/packet.pdf", days="14", paper="a4")
    assert answer.status_code == 303
    job = client.app.state.jobs.find(answer.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
    assert job.ended.wait(30)
    made = client.get(answer.headers["location"])  # on to its result
    assert made.content.startswith(b"%PDF")
    # Change plan, three sheets, links.
    assert [(n, 5) for n in range(5)] == [one[1:] for one in told]
    assert "North ridge" in " ".join(one[0] for one in told)
    other = store.create(store.read(number).document, author="test", reason="other").network_id
    assert client.get(f"/networks/{other}/packet/{job.id}").status_code == 404
    assert {"work packet"} == {one.made_with for one in store.links.of(number)}


def test_a_packet_that_is_stopped_leaves_no_link(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Its links are drawn before the first page and given out after the last: one that was stopped gave none."""
    issue(number)
    monkeypatch.setattr(on_air_packet, "AT_ONCE_S", 0.0)
    tell = Progress.tell

    def stopped(self: Progress, phase: str, *, done: int, total: int, **more: Any) -> None:
        if done == 3:  # the plan and two sheets are written, links and all
            self.cancel()
        tell(self, phase, done=done, total=total, **more)

    with monkeypatch.context() as patched:
        patched.setattr(Progress, "tell", stopped)
        answer = post(f"/networks/{number}/packet.pdf", days="14", paper="a4")
        job = client.app.state.jobs.find(answer.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
        assert job.ended.wait(30)
    assert job.state == "cancelled"
    assert store.links.of(number) == ()
    made = when_made(client, post(f"/networks/{number}/packet.pdf", days="14", paper="a4"))
    assert made.content.startswith(b"%PDF")
    assert sorted(one.site_id for one in store.links.of(number)) == ["gap", "north", "south"]


def test_of_two_packets_at_once_the_later_prints_the_links_of_the_first(
    client_with: Callable[..., TestClient], number: int, store: Store, settings: Settings, issue: Callable[[int], int],
    poppler: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Whoever presses twice has one link a site, and both papers hold it."""
    issue(number)
    outside = client_with(public_url=PUBLIC)
    address, first = f"/api/networks/{number}/packet", list[bytes]()
    real = on_air_packet.pdf

    def beside(*given: Any, **more: Any) -> bytes:
        if not first:
            first.append(b"")  # the one within asks for none again
            first[0] = outside.post(address, headers=JSON).content
        return real(*given, **more)

    monkeypatch.setattr(on_air_packet, "pdf", beside)
    later = outside.post(address, headers=JSON)
    assert later.status_code == 200, later.text
    assert sorted(one.site_id for one in store.links.of(number)) == ["gap", "north", "south"]
    codes = [sorted(code_ids(one, tmp_path, settings.session_key)) for one in (first[0], later.content)]
    assert codes[0] == codes[1] == sorted(one.id for one in store.links.of(number))


def paper_of(made: bytes, folder: Path) -> str:
    """The size of a PDF's pages, in poppler's words."""
    (folder / "sized.pdf").write_bytes(made)
    said = subprocess.run(["pdfinfo", str(folder / "sized.pdf")], capture_output=True, text=True, check=True).stdout
    return next(line.partition(":")[2].strip() for line in said.splitlines() if line.startswith("Page size"))


def code_ids(made: bytes, folder: Path, session_key: str) -> list[str]:
    """Under which ids the office has the links of a packet's last page."""
    last = len(text_of(made, folder).split("\f")) - 1
    tokens = [code.removeprefix(f"{PUBLIC}/site/").partition("#")[0] for code in codes_of(made, folder, page=last)]
    return [read_link(session_key, token).id for token in tokens]


def left_behind(store: Store, number: int) -> str:
    """What a process that is killed while it writes a packet leaves of it: the row that says that it was asked for."""
    asked = {"network": number, "revision": 1, "checksum": "", "typed": {"days": "30", "paper": "letter"}}
    url = f"/networks/{number}/packet/killed-1234a"
    store.jobs.begin(
        "killed-1234a", key="k", title="Work packet", function="packet", asked=asked, who="", result_url=url
    )
    return "/jobs/killed-1234a"


def test_a_packet_of_a_killed_process_is_made_again_as_it_was_asked_for(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int],
    monkeypatch: pytest.MonkeyPatch, poppler: None, tmp_path: Path,
) -> None:  # fmt: skip
    """By a button, with its days and its paper; refused where the newest revision has none."""
    job = left_behind(store, number)
    assert client.get(f"/networks/{number}/packet/killed-1234a", follow_redirects=False).headers["location"] == job
    page = client.get(job).text
    assert "Start it again, of the newest revision" in page
    refused = client.post(f"{job}/again", data={"csrf_token": token_in(page)}, headers={"Accept": "application/json"})
    assert refused.status_code == 422
    assert {one["code"] for one in refused.json()["problems"]} == {"sign-off-missing"}
    assert store.links.of(number) == ()

    issue(number)
    answer = post(f"{job}/again")
    assert answer.status_code == 303
    made = when_made(client, answer).content
    assert paper_of(made, tmp_path) == "612 x 792 pts (letter)"
    given = store.links.of(number)
    assert sorted(one.site_id for one in given) == ["gap", "north", "south"]
    assert {round((one.ends_at - one.made_at).total_seconds() / 86_400) for one in given} == {30}


def test_a_packet_is_made_again_by_those_alone_who_may_make_one(
    client: TestClient, client_with: Callable[..., TestClient], store: Store, number: int, issue: Callable[[int], int],
    quick_hashes: None,
) -> None:  # fmt: skip
    """Computing is not enough: its links open pages of sites. Who only looks is refused at the button and at the start."""
    issue(number)
    job, words = left_behind(store, number), "correct horse battery"
    for name, role in (("Anna", "administrator"), ("Vera", "viewer"), ("Paul", "planner")):
        store.accounts.add(name, role=role, password=words)
    answers = {}
    for name in ("Vera", "Paul"):
        browser = client_with()
        fields = {"csrf_token": token_in(browser.get("/log-in").text), "name": name, "password": words}
        assert browser.post("/log-in", data=fields, follow_redirects=False).status_code == 303
        sent = {"csrf_token": token_in(browser.get("/account").text)}
        answers[name] = browser.post(f"{job}/again", data=sent, headers={"Accept": "application/json"})
        if name == "Vera":
            assert store.links.of(number) == ()
    assert (answers["Vera"].status_code, answers["Vera"].json()["problems"][0]["code"]) == (403, "not-allowed")
    assert "issue sheets" in answers["Vera"].json()["problems"][0]["what"]
    assert answers["Paul"].status_code == 200, answers["Paul"].text
    jobs = client.app.state.jobs  # type: ignore[attr-defined]
    before = ACTING.set(Acting("Vera", "viewer", "session", ""))
    try:
        with pytest.raises(NotAllowedError, match="may not issue sheets"):
            jobs.start(lambda _: None, title="Work packet", key="x", function="packet")
    finally:
        ACTING.reset(before)
    before = ACTING.set(Acting("Paul", "planner", "token", "", scope="read"))
    try:
        with pytest.raises(NotAllowedError, match="for reading"):
            jobs.start(lambda _: None, title="Work packet", key="x", function="packet")
    finally:
        ACTING.reset(before)


def test_change_plan_and_links_are_printed_alone(
    client: TestClient, client_with: Callable[..., TestClient], number: int, issue: Callable[[int], int], poppler: None,
    tmp_path: Path,
) -> None:  # fmt: skip
    """Both as PDF: the plan is stamped until all that change are issued; links come with a code a site."""
    unissued = text_of(client.get(f"/networks/{number}/change.pdf").content, tmp_path, "-raw")
    assert bare(unissued).startswith("NOTISSUED")  # turned letters are a line each
    issue(number)
    plan = text_of(client.get(f"/networks/{number}/change.pdf?paper=letter").content, tmp_path, "-layout")
    for said in ("Change plan", "In this order", "14.5 µs", "What to read afterwards", "Cautions"):
        assert said in plan
    assert "NOTISSUED" not in bare(plan)
    assert "Work out field strengths" not in plan
    office = client_with(public_url=PUBLIC)
    sent = {"csrf_token": token_in(office.get("/").text)}
    assert office.post(f"/networks/{number}/readings/links", data=sent, follow_redirects=False).status_code == 303
    links = office.get(f"/networks/{number}/readings/links.pdf").content
    assert len(codes_of(links, tmp_path)) == 3


def test_the_command_writes_a_packet_whose_links_the_server_opens(
    client: TestClient, number: int, settings: Settings, issue: Callable[[int], int], poppler: None, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Signed with the key of the data folder; a refused packet, no such network, an existing file: told in a line."""
    out = tmp_path / "packet.pdf"
    write_secrets(tmp_path, {"session_key": settings.session_key})
    monkeypatch.setenv("SFN_DELAYS_PUBLIC_URL", PUBLIC)
    command = ["--data", str(tmp_path), "--database", settings.database_url, "packet", str(number), str(out)]
    assert main(command) == 2
    assert "is not signed off" in capsys.readouterr().err
    assert not out.exists()

    issue(number)
    assert main(command) == 0
    made = out.read_bytes()
    pages = text_of(made, tmp_path, "-layout").split("\f")[:-1]
    [code] = codes_of(made, tmp_path, page=1 + next(n for n, page in enumerate(pages) if "Gap: field sheet" in page))
    assert "Gap" in client.get(code.removeprefix(PUBLIC).partition("#")[0]).text
    assert main(command) == 2
    assert "cannot be written (File exists)" in capsys.readouterr().err
    assert main([*command[:-2], "99", str(tmp_path / "other.pdf")]) == 2
    assert "there is no network 99" in capsys.readouterr().err

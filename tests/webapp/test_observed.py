"""Every request has an id, lines that are written hold no secret, and `/metrics` tells numbers and no names."""

import json
import logging
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.test_readings import issued as issued, link, number as number
from webapp.config.settings import Settings, read_settings
from webapp.shell.log_lines import JsonLines, TextLines, blanked, set_up
from webapp.store.passwords import hash_password
from webapp.store.store import Store

prometheus_parser = pytest.importorskip("prometheus_client.parser")


class Written(logging.Handler):
    """What would be written, in one of the forms."""

    def __init__(self, form: logging.Formatter) -> None:
        super().__init__()
        self.setFormatter(form)
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the line."""
        self.lines.append(self.format(record))


@pytest.fixture
def written(request: pytest.FixtureRequest) -> Iterator[Written]:
    """All that the application writes, as JSON unless a test asks for text."""
    handler = Written(TextLines() if getattr(request, "param", "json") == "text" else JsonLines())
    log, level = logging.getLogger("webapp"), logging.getLogger("webapp").level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    yield handler
    log.removeHandler(handler)
    log.setLevel(level)


def samples(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Every sample of a text in Prometheus' format, read by the client's own parser."""
    return {
        (one.name, tuple(sorted(one.labels.items()))): one.value
        for family in prometheus_parser.text_string_to_metric_families(text)
        for one in family.samples
    }


def test_an_id_is_sent_back_and_a_strange_one_is_not(client: TestClient) -> None:
    """A proxy's id goes on; what could make a second line or header gets one of ours."""
    assert client.get("/", headers={"X-Request-ID": "proxy-7.f_2"}).headers["x-request-id"] == "proxy-7.f_2"
    ours = client.get("/").headers["x-request-id"]
    assert re.fullmatch("[0-9a-f]{16}", ours)
    for strange in ("a b", "x" * 65, "", "é", '"'):
        sent = client.get("/", headers={b"X-Request-ID": strange.encode()}).headers["x-request-id"]
        assert re.fullmatch("[0-9a-f]{16}", sent)
    assert client.get("/nowhere").headers["x-request-id"] != ours


def test_the_access_log_has_each_request_with_its_id(client_with: Callable[..., TestClient], written: Written) -> None:
    """One JSON object a line; what was asked behind the path is not in it."""
    client = client_with(access_log=True)
    answer = client.get("/?find=Somebody", headers={"X-Request-ID": "id-1"})
    (line,) = [json.loads(one) for one in written.lines if json.loads(one)["logger"] == "webapp.access"]
    assert (line["method"], line["path"], line["status"], line["request"]) == ("GET", "/", 200, "id-1")
    assert line["sent_bytes"] == len(answer.content)
    assert line["took_ms"] > 0
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", line["at"])
    assert "Somebody" not in "".join(written.lines)


def test_without_the_setting_no_request_is_written(client: TestClient, written: Written) -> None:
    """The log then has faults and starts alone."""
    client.get("/")
    assert not written.lines


@pytest.mark.parametrize("written", ["json", "text"], indirect=True)
def test_no_secret_is_written(
    client_with: Callable[..., TestClient], store: Store, number: int, written: Written, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A signed link, a password, tokens and a provider's code in real requests that end in faults, with tracebacks."""
    client = client_with(access_log=True)
    address = link(number)
    signed = address.split("/site/")[1].split("/")[0].split("?")[0]
    secrets = [signed, "pass-word-of-Ann-123", "bearer-of-a-script-456", "code-of-a-provider-789"]

    def broken(*_args: object, **_given: object) -> None:
        raise RuntimeError(f"password={secrets[1]} at {address}")

    assert client.get(address).status_code == 200
    monkeypatch.setattr("webapp.on_air.site_reading.page", broken)
    fault = client.get(address)
    assert fault.status_code == 500
    client.post("/log-in", data={"name": "Ann", "password": secrets[1]})
    client.get("/api/networks", headers={"Authorization": f"Bearer {secrets[2]}"})
    client.get(f"/log-in/provider/back?code={secrets[3]}&state={secrets[3]}")
    client.get(f"/?token={secrets[2]}")
    logging.getLogger("webapp").error("asked with %s", {"Authorization": f"Bearer {secrets[2]}"})
    logging.getLogger("webapp").error("at postgresql+psycopg://sfn:%s@db/sfn?password=%s", secrets[1], secrets[1])
    whole = "\n".join(written.lines)
    assert "RuntimeError" in whole
    assert whole.count("/site/[blanked]") >= 3
    for secret in secrets:
        assert secret not in whole
    number_told = re.search(r"\b([0-9a-f]{8})\.", fault.text)
    assert number_told is not None
    assert number_told[1] in whole, "the number on the page leads to the line"


@pytest.mark.parametrize("written", ["text"], indirect=True)
def test_what_is_sent_makes_no_second_line(client_with: Callable[..., TestClient], written: Written) -> None:
    """A line break in a path stays in its line, and marks that turn the direction of text are shown by number."""
    client_with(access_log=True).get("/x%0aERROR%20webapp:%20all%20is%20lost%e2%80%ae")
    (line,) = written.lines
    assert "\n" not in line
    assert "\\nERROR" in line
    assert "\u202e" not in line


def test_plain_words_are_not_blanked() -> None:
    """Only what opens something."""
    for text in ("state: running, 3 of 12", "the code is A4", "GET /networks/1/sheets", "http://127.0.0.1:8430/"):
        assert blanked(text) == text


def test_metrics_count_requests_by_route_and_tell_no_name(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Read by prometheus-client's own parser; numbers of ids, names and what strangers type are in no label."""
    example["name"] = "Hush valley"
    number = store.create(example, author="Ann Onymous", reason="first").network_id
    before = samples(client.get("/metrics").text)
    for _ in range(3):
        assert client.get(f"/networks/{number}/delays").status_code == 200
    for _ in range(2):
        client.get("/no-such-page-Xq7")
    answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    after = samples(answer.text)

    def grown(route: str, status: str) -> float:
        key = ("sfn_delays_requests_total", (("method", "GET"), ("route", route), ("status", status)))
        return after.get(key, 0) - before.get(key, 0)

    assert grown("/networks/{network_id}/delays", "200") == 3
    assert grown("none", "404") == 2
    took = {key[1]: value for key, value in after.items() if key[0] == "sfn_delays_request_seconds_bucket"}
    mine = {dict(labels)["le"]: n for labels, n in took.items() if dict(labels)["route"].endswith("/delays")}
    assert mine["+Inf"] == 3
    assert [mine[le] for le in sorted(mine, key=float)] == sorted(mine.values()), "buckets are cumulative"
    assert after["sfn_delays_networks", ()] == 1
    assert after["sfn_delays_requests_under_way", ()] == 1
    assert after["sfn_delays_data_free_bytes", ()] > 0
    assert after["sfn_delays_jobs", (("state", "running"),)] == 0
    assert after["process_resident_memory_bytes", ()] > 1e7
    for name in ("Hush", "valley", "Ann", "Onymous", "Xq7", example["sites"][0]["name"], str(store.services_file)):
        assert name not in answer.text


def test_metrics_need_a_right_where_names_are_asked_for(client_with: Callable[..., TestClient], store: Store) -> None:
    """Nobody reads them but who may look at the networks; a script's token opens them, a wrong one does not."""
    client = client_with(password_hash=hash_password("long-enough-for-a-test"))
    refused = client.get("/metrics", follow_redirects=False)
    assert (refused.status_code, refused.headers["www-authenticate"]) == (401, "Bearer")
    store.accounts.add("Ada", role="administrator", password="a-long-password-of-Ada")
    store.accounts.add("Vera", role="viewer", password="a-long-password-of-Vera")
    vera = next(one.id for one in store.accounts.users() if one.name == "Vera")
    token = store.accounts.add_token(vera, label="numbers", scope="read")
    for given, status in ((token, 200), (f"{token}x", 401)):
        assert client.get("/metrics", headers={"Authorization": f"Bearer {given}"}).status_code == status
    assert client.get("/api/pages/metrics", headers={"Authorization": f"Bearer {token}"}).status_code == 404


@pytest.mark.parametrize(("name", "text"), [("SFN_DELAYS_LOG", "xml"), ("SFN_DELAYS_ACCESS_LOG", "maybe")])
def test_a_setting_that_is_none_is_refused(name: str, text: str, tmp_path: Any) -> None:
    """In words, with what would be right."""
    with pytest.raises(PlanError, match=name):
        read_settings({name: text}, data_folder=str(tmp_path))


def test_what_is_set_up_writes_json(settings: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    """As the service does at its start."""
    root = logging.getLogger()
    before, level = list(root.handlers), root.level
    try:
        set_up(replace(settings, log="json"))
        logging.getLogger("webapp.test").warning("token=%s", "abc-def-ghi")
        assert json.loads(capsys.readouterr().err)["message"] == "token=[blanked]"
    finally:
        root.handlers, root.level = before, level

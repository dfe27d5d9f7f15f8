"""Whatever stands in an address or a form: an answer in words, soon, and without filling the memory."""

import io
import re
import resource
import time
import tracemalloc
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from sfn.errors import PlanError
from sfn.plan import read
from sfn.plan.sheets import read_sheet
from sfn.study.heard import own_programme
from sfn.study.people import look
from sfn.systems import mode_table
from tests.webapp.conftest import token_in
from webapp.config.limits import whole_number
from webapp.store.store import Store

HUGE = str(2**70)
HOSTILE = ("nan", "inf", "-1", "1e9", "91", str(2**63), HUGE, "9" * 5000, "", "x" * 2000, "\x00\u202e'\"<")
# Behind a parameter that many addresses share stands one type: the first addresses get everything, the rest these.
FEW = (str(2**63),)
SOUND = {
    "network_id": "1", "site_id": "north", "number": "1", "old": "1", "new": "1", "lat": "36.28", "lon": "-84.19",
    "site": "north", "a": "north", "b": "south", "form": "csv", "name": "quality_class", "low": "-5", "high": "5",
    "a_low": "-5", "a_high": "5", "b_low": "-5", "b_high": "5",
}  # fmt: skip
SLOWEST_S = 30.0  # of all: one value that starts to compute would take longer alone
MOST_MEMORY_MB = 500.0


@pytest.fixture(autouse=True)
def _number(store: Store, example: dict[str, Any]) -> None:
    """The example as network 1."""
    store.create(example, author="test", reason="first")


@pytest.fixture
def operations(client: TestClient) -> list[tuple[str, str, dict[str, Any]]]:
    """Method, path and description of every address that the application describes: the interface and every page."""
    paths = client.get("/api/openapi.json").json()["paths"]
    return [(method, path, said) for path, methods in paths.items() for method, said in methods.items()]


def filled(path: str, **values: str) -> str:
    """An address with something sound in every gap but those given."""
    return re.sub(r"\{(\w+)\}", lambda gap: quote(values.get(gap[1], SOUND.get(gap[1], "x")), safe=""), path)


def cases(operations: list[tuple[str, str, dict[str, Any]]]) -> Iterator[tuple[str, str, dict[str, str]]]:
    """Every parameter of every address with every hostile value, the others sound."""
    seen: Counter[str] = Counter()
    for method, path, said in operations:
        given = said.get("parameters", [])
        needed = {p["name"]: SOUND.get(p["name"], "x") for p in given if p["in"] == "query" and p.get("required")}
        for parameter in given:
            name = parameter["name"]
            seen[name] += 1
            for value in HOSTILE if seen[name] == 1 else FEW:
                if parameter["in"] == "path":
                    yield method, filled(path, **{name: value}), needed
                elif not (value == "" and path.endswith("/direct")):  # nothing tried: the whole simulation runs
                    yield method, filled(path), {**needed, name: value}


def test_no_address_is_brought_down_by_a_value(
    client: TestClient, operations: list[tuple[str, str, dict[str, Any]]]
) -> None:
    """Never a fault, never long, never much memory, for any parameter of any address."""
    started, before = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    walked = 0
    for method, where, query in cases(operations):
        body = {} if method == "get" else {"json": {}}
        answer = client.request(method.upper(), where, params=query, follow_redirects=False, **body)  # type: ignore[arg-type]
        assert answer.status_code < 500, (method, where[:200], {k: v[:40] for k, v in query.items()})
        walked += 1
    assert walked > 500
    assert time.process_time() - started < SLOWEST_S + walked * 0.05
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_MEMORY_MB * 1000


def test_no_form_is_brought_down_by_a_value(
    client: TestClient, operations: list[tuple[str, str, dict[str, Any]]]
) -> None:
    """The same for every field of every form; what starts a computation gets its own bounds in its own tests."""
    walked = 0
    for method, path, said in operations:
        body = said.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
        for name in body.get("properties", ()) if path.startswith("/api/pages") else ():
            for value in ("9" * 5000, str(2**63)):
                answer = client.request(method.upper(), filled(path), json={name: value}, follow_redirects=False)
                assert answer.status_code < 500, (method, path, name, value[:40])
                walked += 1
    assert walked > 200


@pytest.mark.parametrize(
    ("where", "query", "says"),
    [
        ("point/part", {"lat": "36", "lon": "1e9"}, "at most 180"),
        ("point/part", {"lat": "nan", "lon": "0"}, "a number"),
        ("point/part", {"lat": "100", "lon": "0"}, "at most 90"),
        ("point/part", {"lat": "-36", "lon": "96"}, "km from every site"),
        ("point", {"at": "-36, 96"}, "km from every site"),
        ("path", {"site": "north", "at": "-36, 96"}, "at most 500 km"),
        ("map", {"bounds": "-60,-170,60,170", "pixel_m": "50000"}, "km from every site"),
    ],
)
def test_a_far_place_is_refused_in_words(client: TestClient, where: str, query: dict[str, str], says: str) -> None:
    """Coordinates off the globe, and places that no path of the network is worked out to; at once."""
    started = time.process_time()
    answer = client.get(f"/networks/1/{where}", params=query)
    assert answer.status_code == 422
    assert says in answer.text
    assert time.process_time() - started < 2.0


def test_a_road_round_the_world_is_refused(client: TestClient) -> None:
    """A line may cross a country, not the earth."""
    answer = client.post("/api/networks/1/road", json={"line": [[36, -84], [0, 0], [10, 90]], "spacing_m": 10_000})
    assert answer.status_code == 422
    assert {p["code"] for p in answer.json()["problems"]} == {"path-too-long"}


def test_a_site_too_far_for_a_signal_is_named(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """One site beyond 500 km leaves the others' signals, and is said not to be among them."""
    example["sites"][1]["position"] = {"text": "45.0, -75.0", "crs": "EPSG:4326"}
    number = store.create(example, author="test", reason="far").network_id
    answer = client.get(f"/api/networks/{number}/point", params={"lat": 36.28, "lon": -84.19}).json()
    assert answer["too_far"] == [example["sites"][1]["name"]]
    assert example["sites"][1]["id"] not in [signal["site"] for signal in answer["signals"]]
    assert answer["signals"]
    assert "over 500 km away" in client.get(f"/networks/{number}/point", params={"at": "36.28, -84.19"}).text


def test_an_address_part_is_no_longer_than_any_of_ours(client: TestClient) -> None:
    """Refused before anything looks for it."""
    answer = client.get(f"/networks/1/sheets/{'x' * 401}/qr.svg")
    assert answer.status_code == 414
    assert "at most 400 characters" in answer.text


def test_whole_numbers_are_those_of_a_database() -> None:
    """What `int` would take for minutes, or a database not at all, is no number here."""
    assert (7, 2**31 - 1) == (whole_number("7"), whole_number(str(2**31 - 1)))
    assert [None] * 5 == [whole_number(text) for text in (str(2**31), "9" * 5000, "-1", "", "²")]


@pytest.mark.parametrize(
    "body",
    [
        '{"document": {"format": 1, "name": "\\ud800"}, "author": "a"}',
        '{"document": {"format": 1e999}, "author": "a"}',
        '{"document": {"format": NaN}, "author": "a"}',
        '{"document": {"format": ' + "9" * 6000 + '}, "author": "a"}',
        "[" * 200_000,
        '{"document": {"name": "a\\u0000b"}, "author": "\\u0000"}',
        "",
    ],
    ids=["half a character", "infinite", "not a number", "long number", "deep", "zero", "empty"],
)
def test_no_body_brings_it_down(client: TestClient, body: str) -> None:
    """Refused in words, wherever a script sends it."""
    kind = {"content-type": "application/json"}
    for where in ("/api/networks", "/api/networks/1/road", "/api/pages/networks/new", "/api/pages/networks/1/edit"):
        answer = client.post(where, content=body, headers=kind, follow_redirects=False)
        assert 400 <= answer.status_code < 500, (where, answer.status_code)
        assert answer.json()["problems"]


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://[::1"}, {"host": "[::1"}, {"host": "a]b"}, {"cookie": "sfn_delays_session=x"},
     {"authorization": "Bearer \u00ff"}, {"content-type": "application/json; charset=utf-99"}],
    ids=str,
)  # fmt: skip
def test_no_header_brings_it_down(client: TestClient, headers: dict[str, str]) -> None:
    """What no browser sends."""
    sent = {key: value.encode("latin-1") for key, value in headers.items()}
    assert client.get("/api/networks", headers=sent).status_code < 500
    assert client.post("/networks/1/delete", headers=sent, content=b"x").status_code < 500


@pytest.mark.parametrize("text", ["a=" + "[" * 100_000, "a=" + "{a=" * 50_000, "a=" + "9" * 6000])
def test_a_file_of_services_that_cannot_be_is_refused(text: str) -> None:
    """Nested without end, or a number without end."""
    with pytest.raises(PlanError, match="not TOML"):
        mode_table.own(text)


def test_a_recording_is_judged_by_its_head(tmp_path: Path) -> None:
    """Rate and channels are looked at before ten seconds of them are read."""
    for rate, channels in ((655_350, 1), (192_000, 9)):
        soundfile.write(tmp_path / "a.wav", np.zeros((10, channels)), rate, format="WAV", subtype="PCM_16")
        with (tmp_path / "a.wav").open("rb") as file, pytest.raises(PlanError) as refused:
            own_programme(file, name="a.wav")
        assert f"{channels} channels of {rate}" in refused.value.problems[0].what


def workbook(sheet: bytes) -> bytes:
    """An XLSX with one sheet."""
    made, office = io.BytesIO(), "http://schemas.openxmlformats.org"
    inside = f"{office}/officeDocument/2006/relationships"
    relation = f'<Relationships xmlns="{office}/package/2006/relationships"><Relationship Id="rId1" Type="{inside}/'
    kinds = "application/vnd.openxmlformats-officedocument.spreadsheetml."
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(
            "[Content_Types].xml",
            f'<Types xmlns="{office}/package/2006/content-types"><Override PartName="/xl/workbook.xml" '
            f'ContentType="{kinds}sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" '
            f'ContentType="{kinds}worksheet+xml"/></Types>',
        )
        packed.writestr("_rels/.rels", f'{relation}officeDocument" Target="xl/workbook.xml"/></Relationships>')
        packed.writestr(
            "xl/workbook.xml",
            f'<workbook xmlns="{office}/spreadsheetml/2006/main" xmlns:r="{inside}">'
            '<sheets><sheet name="a" sheetId="1" r:id="rId1"/></sheets></workbook>',
        )
        packed.writestr(
            "xl/_rels/workbook.xml.rels", f'{relation}worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
        )
        packed.writestr(
            "xl/worksheets/sheet1.xml",
            b'<worksheet xmlns="%s/spreadsheetml/2006/main"><sheetData>' % (office.encode()) + sheet,
        )
    return made.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.xlsx", lambda: workbook((b"<row>" + b"<c><v>1</v></c>" * 100 + b"</row>") * 10_000), "cells"),
        ("a.xlsx", lambda: workbook(b"<row></row>" * 1_000_000), "lines"),
        ("a.xlsx", lambda: workbook(b"<a>" * 1_000_000), "pieces within each other"),
        ("a.xlsx", lambda: workbook(b" " * 70_000_000), "unpacks to more than 60 MB"),
        ("a.csv", lambda: b"a," * 7_500_000, "cells"),
        ("a.csv", lambda: b"site,latency_us\n" + b"a,1\n" * 1_000_000, "lines"),
        ("a.csv", lambda: b"a," * 2_000 + b"\n1\n", "columns"),
    ],
    ids=["a million cells", "a million rows", "deep", "unpacked", "one line", "a million lines", "columns"],
)
def test_a_table_is_counted_before_it_is_taken_apart(name: str, content: Any, says: str) -> None:
    """A few kilobytes may unpack to a million cells: refused in words, in 50 MB, before a cell is made."""
    sent = content()
    tracemalloc.start()
    started = time.process_time()
    try:
        with pytest.raises(PlanError) as refused:
            read_sheet(sent, source=name)
        spent_s, most = time.process_time() - started, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert says in refused.value.problems[0].what
    assert spent_s < 1.0, "a tenth of it without the tracing, on an idle machine"
    assert most < 60_000_000 + 2 * len(sent)


@pytest.mark.parametrize(
    "body",
    [
        '{"document":{' + ",".join(f'"k{i}":1' for i in range(400_000)) + "}}",
        '{"document":{"sites":[' + "{}," * 700_000 + "{}]}}",
        '{"document":{"sites":[' + "1," * 1_500_000 + "1]}}",
    ],
    ids=["keys", "objects", "numbers"],
)
def test_a_body_of_many_values_is_counted_as_it_arrives(client: TestClient, body: str) -> None:
    """Eight megabytes of JSON are four hundred once they are read: refused before that, in words."""
    started = time.process_time()
    answer = client.post("/api/networks", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 413
    assert "at most" in answer.json()["problems"][0]["expected"]
    assert time.process_time() - started < 1.0
    with pytest.raises(PlanError, match=r"has (more than )?[0-9]"):
        read(body)


def test_many_keys_are_told_apart_soon() -> None:
    """Looking for keys given twice grows with their number, not with its square."""
    started = time.process_time()
    with pytest.raises(PlanError) as refused:
        read("{" + ",".join(f'"k{i}":1' for i in range(1_900)) + ',"k7":2}')
    assert "is given twice" in refused.value.problems[0].what
    assert len(refused.value.problems) == 1
    assert time.process_time() - started < 3.0


def flat(keys_n: int, of: str = ":1") -> str:
    """One object with so many unknown keys."""
    return "{" + ",".join(f'"k{n}"{of}' for n in range(keys_n)) + "}"


MANY = {
    "flat": flat(280_000),
    "spaced": flat(100_000, " :1"),
    "objects": flat(100_000, ":{}"),
    "entries": '{"format":1,"sites":[' + ",".join(["1"] * 500_000) + "]}",
    "keys of entries": '{"format":1,"sites":[' + ",".join(['{"x":1,"y":2}'] * 100_000) + "]}",
    "one entry": '{"format":1,"sites":[{"delay_fields":[' + ",".join(['""'] * 500_000) + "]}]}",
    "one value": '{"format":1,"name":[' + ",".join(['""'] * 500_000) + "]}",
}


@pytest.mark.parametrize("text", MANY.values(), ids=MANY.keys())
def test_a_document_in_which_everything_is_wrong_is_refused_soon(text: str) -> None:
    """Before a million problems are made: at most a hundred and their rest, in little time and memory."""
    started = time.process_time()
    tracemalloc.start()
    try:
        with pytest.raises(PlanError) as refused:
            read(text)
        peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()
    assert 1 <= len(refused.value.problems) <= 101
    assert time.process_time() - started < 8, (
        "fifty times as long before; traced allocations take several times as long"
    )
    assert peak_mb < 120


@pytest.mark.parametrize("where", ["/api/networks", "/api/networks/1/road", "/api/pages/networks/new"])
def test_a_body_of_many_keys_is_answered_shortly(client: TestClient, where: str) -> None:
    """Twenty are known: an answer of sixty megabytes helped nobody."""
    for body in (flat(150_000), flat(19_000), flat(30_000, ":{}")):
        started = time.process_time()
        answer = client.post(where, content=body, headers={"content-type": "application/json"})
        assert 400 <= answer.status_code < 500
        assert len(answer.content) < 60_000
        assert len(answer.json()["problems"]) <= 101
        assert time.process_time() - started < 2


def test_an_import_of_many_keys_is_refused_soon(client: TestClient) -> None:
    """The file of 3 MB that took a minute and a gigabyte."""
    started = time.process_time()
    files = {"file": ("a.json", flat(280_000).encode())}
    sent = {"csrf_token": token_in(client.get("/").text), "author": "a"}
    answer = client.post("/networks/import", data=sent, files=files)
    assert answer.status_code == 422
    assert "keys in 1 objects" in answer.text.replace("\u202f", " ")
    assert time.process_time() - started < 2


def test_a_form_of_nothing_but_separators_is_refused_before_it_is_read(client: TestClient) -> None:
    """Eight million of them held a thread for seconds; they are counted as they arrive."""
    kind = {"content-type": "application/x-www-form-urlencoded"}
    for body in (b"&" * 7_900_000, b"a=1&" * 30_000):
        started = time.process_time()
        assert client.post("/networks/1/edit", content=body, headers=kind).status_code == 413
        assert time.process_time() - started < 1


@pytest.mark.parametrize(
    "text",
    ["a." * 199_999 + "a=1", "x={" + "a." * 199_999 + "a=1}", '"a" . ' * 60_000 + "a=1", "[" + "a." * 199_999 + "a]",
     "".join(f"[a{n}]\n" for n in range(50_000)), "".join(f"k{n}=1\n" for n in range(50_000))],
    ids=["dotted", "inline", "quoted", "table", "tables", "keys"],
)  # fmt: skip
def test_a_file_of_services_of_many_parts_is_refused_soon(text: str) -> None:
    """One dotted key of 400 kB took more than a minute and two gigabytes."""
    mode_table.shipped()
    started = time.process_time()
    with pytest.raises(PlanError) as refused:
        mode_table.own(text)
    assert len(refused.value.problems) <= 100
    assert time.process_time() - started < 3


def many(unit: str, times: int) -> str:
    """A list of so many of one thing."""
    return "[" + ",".join([unit] * times) + "]"


SHAPES = {
    "empty objects": many("{}", 490_000),
    "empty lists": many("[]", 490_000),
    "lists of lists": many("[[[[]]]]", 190_000),
    "deep": many("[" * 900 + "]" * 900, 1_000),
    "deep objects": many('{"a":' * 50 + "1" + "}" * 50, 5_000),
    "numbers": many("1.5e3", 1_000_000),
    "texts": many('"ab"', 1_000_000),
}
WHERE = {
    "POST /api/networks": '{"author":"a","document":{"format":1,"sites":%s}}',
    "PUT /api/networks/1": '{"author":"a","reason":"b","base_revision":1,"document":{"format":1,"stages":%s}}',
    "POST /api/networks/1/restore": '{"revision":1,"x":%s}',
    "POST /api/networks/1/road": '{"line":%s}',
    "POST /api/pages/networks/new": '{"name":%s}',
    "POST /api/pages/networks/1/ages": '{"base":1,"stage":%s}',
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_small_parts_are_counted_at_every_address(client: TestClient, shape: str) -> None:
    """Two megabytes of empty lists were two seconds and 80 MB, wherever they were sent; nothing is made of them now."""
    kind = {"content-type": "application/json"}
    for where, around in WHERE.items():
        method, _, address = where.partition(" ")
        body = (around % shape).encode()
        started = time.process_time()
        answer = client.request(method, address, content=body, headers=kind)
        spent_s = time.process_time() - started
        assert answer.status_code == 413, (where, answer.text[:200])
        assert "more than" in answer.json()["problems"][0]["what"]
        assert spent_s < 0.5, (where, "0.06 s alone")
    sent = {"base_revision": 1, "document": shape}
    tracemalloc.start()
    answer = client.post("/api/pages/networks/1/edit", json=sent)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert answer.status_code == 422
    assert most < 12 * len(shape) + 5_000_000, "the body and its answer, several times over, and nothing of its parts"


def test_json_in_another_encoding_is_not_counted_round(client: TestClient) -> None:
    """Readers guess UTF-16 of its zeros: a text in which nothing could be counted."""
    for encoding in ("utf-16", "utf-16-le", "utf-32-be"):
        body = ('{"author":"a","document":' + many("[]", 1000) + "}").encode(encoding)
        answer = client.post("/api/networks", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 415
        assert answer.json()["problems"][0]["code"] == "not-text"


@pytest.mark.parametrize("value", [1, 10**3999, "x", True, {"a": 1}, [[]], None], ids=str)
def test_a_list_that_is_none_is_refused_in_words(client: TestClient, example: dict[str, Any], value: Any) -> None:
    """A number in the place of the sites was a fault."""
    for key in ("sites", "stages", "name", "service"):
        document = {**example, key: value}
        for method, where, more in (
            ("POST", "/api/networks", {}),
            ("PUT", "/api/networks/1", {"base_revision": 1, "reason": "r"}),
        ):
            answer = client.request(method, where, json={"author": "a", "document": document, **more})
            assert answer.status_code in (200, 201, 409, 422), (key, answer.text[:200])
            assert answer.status_code != 422 or answer.json()["problems"][0]["where"]


def test_a_refusal_does_not_send_all_of_it_back(client: TestClient, example: dict[str, Any]) -> None:
    """A value, a key or a file name of a megabyte: its beginning and its length, on pages and for scripts."""
    huge = "x" * 1_000_000
    named = {"author": "a", "document": {**example, huge: 1}}
    inside = {"author": "a", "document": {**example, "service": huge}}
    whose = {"author": "a", "document": {**example, "sites": [{**example["sites"][0], "id": huge, "frequency": 1}]}}
    for where, sent in (
        ("/api/networks", named), ("/api/networks", inside), ("/api/networks", whose), ("/api/networks", {huge: 1}),
        ("/api/networks/1/road", {"line": huge}), ("/api/networks/1/road", {"off_air": [huge], "line": [[36, -84]] * 2}),
        ("/api/pages/networks/new", {"name": huge}), ("/api/pages/networks/new", {huge: "1"}),
        ("/api/pages/networks/1/ages", {"base": "1", "stage": huge}),
        ("/api/pages/networks/1/edit", {"base_revision": "1", "draft": huge}),
    ):  # fmt: skip
        answer = client.post(where, json=sent)
        assert answer.status_code in (400, 413, 422), (where, answer.status_code)
        assert len(answer.content) < 100_000, (where, answer.text[:300])
    told = client.post("/api/networks", json=named).json()["problems"][0]
    assert "characters in all" in told["where"]
    for address, sent in (
        ("/networks/1/edit", {"base_revision": "1", "draft": huge}),
        ("/services/upload", {huge: "1"}),
    ):
        sent["csrf_token"] = token_in(client.get("/").text)
        assert len(client.post(address, data=sent, follow_redirects=False).content) < 100_000, address
    for query in ({"at": "9" * 60_000}, {"state": "x" * 60_000}):
        assert len(client.get("/networks/1/point", params=query).content) < 70_000 + 20_000


def test_a_table_of_people_is_counted_before_it_is_read(tmp_path: Path) -> None:
    """Every line is a place to be read as people write numbers: a country's list took minutes."""
    table = tmp_path / "people.csv"
    for lines_n, says in ((151_000, "150 000 places at most"), (900_000, "150 000 places at most")):
        table.write_text("name,lat,lon,people\n" + "Town,36.1,-84.2,60000\n" * lines_n, encoding="utf-8")
        started = time.process_time()
        looked = look(table, name="people.csv", grid=None)
        assert says in looked.problems[0].expected.replace("\u202f", " ")
        assert time.process_time() - started < 0.5

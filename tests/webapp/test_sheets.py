"""Field sheets: the setting, the roll-back, what to measure, who signed, and when none is issued."""

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.on_air.site_links import made_link
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def text_of(client: TestClient, address: str) -> str:
    """A page with plain spaces."""
    return client.get(address).text.replace("\u202f", " ")


def test_a_sheet_gives_the_setting_the_old_value_and_the_launch(
    client: TestClient, number: int, issue: Callable[[int], int]
) -> None:
    """All that a technician needs stands on one issued sheet, with the cautions."""
    issue(number)
    sheet = text_of(client, f"/networks/{number}/sheets/gap")

    for text in (
        "repeater delay: 14.5 µs",
        "122 660.3331 µs",
        "launch of North ridge",
        "gives no authority to climb",
        "licence",
        "36.280000",
        "16S",
    ):
        assert text in sheet


@pytest.mark.parametrize(("ordered_us", "printed"), [(None, "0.50 µs"), (0.3, "0.30 µs")])
def test_the_tolerated_error_is_the_work_orders_or_a_tenth_of_the_services(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int], ordered_us: float | None,
    printed: str,
) -> None:  # fmt: skip
    """FM stereo bears 5 us: 0.5 us, unless the work order says; the same on sheet, readings and change plan."""
    if ordered_us is not None:
        example["work_order"] = {"tolerated_error_us": ordered_us}
    number = store.create(example, author="test", reason="test").network_id
    issue(number)
    for page, said in (("sheets/gap", f"Tolerated error: <b>{printed}"), ("readings", f">±{printed}"),
                       ("change", f"Tolerated: <b>±{printed}")):  # fmt: skip
        text = text_of(client, f"/networks/{number}/{page}")
        assert said in text, page
        assert ("a tenth of the service&#39;s tolerance, none was given" in text) == (ordered_us is None), page


def assumed(example: dict[str, Any]) -> dict[str, Any]:
    """The south exciter is only assumed, and nobody says how wrong it may be."""
    del example["stages"][7]["tolerance_us"]
    example["stages"][7]["source"] = "assumed"
    return example


def test_a_sheet_on_assumed_stages_waits_for_a_name(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """South rests on an assumed millisecond: signed off by name, then issued as a first try."""
    number = store.create(assumed(example), author="test", reason="test").network_id
    address = f"/networks/{number}/sheets/south"
    assert "needs a sign-off" in client.get(address).text
    assert post(f"{address}/sign", revision="1", signed_by="  ").status_code == 422
    assert post(f"{address}/sign", revision="7", signed_by="A. Engineer").status_code == 409
    refused = post(f"/networks/{number}/sheets/issue", revision="1", issued_by="A. Planner")
    assert refused.status_code == 422
    assert "site South ridge changes together with the others and is not signed off" in refused.text
    assert post(f"{address}/sign", revision="1", signed_by="A. Engineer", note="measured next week").status_code == 303
    assert "needs a sign-off" not in client.get(address).text


def test_what_is_issued_says_who_signed_and_that_it_is_a_first_try(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """The sign-off goes with the revision in which the common delay is frozen: its settings are the same."""
    number = store.create(assumed(example), author="test", reason="test").network_id
    before = store.read(number)
    assert issue(number) == 2
    sheet = text_of(client, f"/networks/{number}/sheets/south")
    frozen = store.read(number).document["common_delay"]

    assert "NOT ISSUED" not in sheet
    for text in ("COMMISSIONING SHEET", "by A. Engineer", "by A. Planner", "exciter delay: 2 382.7 µs"):
        assert text in sheet
    assert frozen["mode"] == "fixed"
    assert frozen["value_us"] == pytest.approx(122_600.4549, abs=1e-4)
    assert before.document["common_delay"]["mode"] == "automatic"


def test_a_new_revision_needs_a_new_sign_off_and_a_new_issue(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """Neither travels to a revision that somebody saved."""
    number = store.create(assumed(example), author="test", reason="test").network_id
    issue(number)
    document = store.read(number).document
    document["sites"][1]["offset_us"] = -13
    store.save(number, document, base_revision=2, author="test", reason="moved")

    assert "needs a sign-off" in client.get(f"/networks/{number}/sheets/south").text
    assert "NOT ISSUED" in client.get(f"/networks/{number}/sheets/north").text


def dry(example: dict[str, Any]) -> None:
    """A release delay a millisecond too short."""
    example["stages"][3]["release_delay_us"] = 100_000


def test_an_error_at_the_site_cannot_be_signed_away(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """A buffer that runs empty keeps its sheet back, whoever signs, and those that change with it."""
    dry(example)
    number = store.create(example, author="test", reason="test").network_id
    assert post(f"/networks/{number}/sheets/north/sign", revision="1", signed_by="A. Engineer").status_code == 422
    assert post(f"/networks/{number}/sheets/issue", revision="1", issued_by="A. Planner").status_code == 422

    for site in ("north", "south", "gap"):
        sheet = text_of(client, f"/networks/{number}/sheets/{site}")
        assert "WITHHELD" in sheet
        assert "buffer underrun" in sheet
        assert "<h4>" not in sheet
        for setting in ("14.5 µs", "382.7", "106 ms"):
            assert setting not in sheet


def test_a_withheld_site_gets_no_link_and_an_old_one_says_so(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Links are for issued sheets; what a technician sends under another is kept as such."""
    dry(example)
    number = store.create(example, author="test", reason="test").network_id
    links = client.get(f"/networks/{number}/readings/links").text
    assert "/site/" not in links
    assert "No link" in links

    token = made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=number, site_id="north", revision=1, days=7
    )
    page = text_of(client, f"/site/{token}")
    assert "WITHHELD" in page
    assert "500 µs" not in page
    typed = {"initials": "AE", "set-1": "480"}
    as_script = {"Accept": "application/json"}
    asked = client.post(f"/site/{token}", data=typed, headers=as_script).json().get("questions", ())
    ticks = {f"confirm-{n}": f"{q['field']}: {q['text']}" for n, q in enumerate(asked)}
    if asked:
        assert client.post(f"/site/{token}", data=typed | ticks, headers=as_script).json()["kept"]
    assert "without an issued sheet" in client.get(f"/networks/{number}/readings").text.partition("<table")[2]


def test_no_sheet_carries_an_address_that_only_this_machine_knows(
    client: TestClient, client_with: Callable[..., TestClient], number: int, store: Store
) -> None:
    """On loopback there is neither address nor code, and the sheet says so; with a public address there are both."""
    sheet = client.get(f"/networks/{number}/sheets/gap").text
    assert "carries no address and no QR code" in sheet
    assert "qr.svg" not in sheet
    assert "127.0.0.1" not in sheet
    assert client.get(f"/networks/{number}/sheets/gap/qr.svg").status_code == 404

    public = client_with(public_url="https://sfn.example.org").get(f"/networks/{number}/sheets/gap").text
    assert f"https://sfn.example.org/networks/{number}/sheets/gap" in public
    assert "qr.svg" in public
    assert f"/sheets/gap?revision={store.read(number).revision.number}" in public


def test_a_copy_of_another_revision_is_told(client: TestClient, number: int) -> None:
    """The code on paper names its revision: whoever scans an old copy is told not to go by it."""
    address = f"/networks/{number}/sheets/gap"
    assert "Do not go by the copy" not in client.get(f"{address}?revision=1").text
    old = client.get(f"{address}?revision=7").text
    assert "Your copy is of revision 7; revision 1 is in force." in old
    assert client.get(f"{address}?revision=x").status_code == 422


def test_the_checksum_tells_a_stale_sheet(
    client: TestClient, number: int, store: Store, example: dict[str, Any]
) -> None:
    """Another revision prints another checksum."""
    before = client.get(f"/networks/{number}/sheets/gap").text
    example["sites"][2]["offset_us"] = 61
    saved = store.save(number, example, base_revision=1, author="test", reason="moved")

    after = client.get(f"/networks/{number}/sheets/gap").text
    assert saved.checksum in after
    assert saved.checksum not in before


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_carries_the_same_numbers(
    client: TestClient, number: int, paper: str, tmp_path: Path, issue: Callable[[int], int]
) -> None:
    """The PDF is the same template printed: the setting is found in its text."""
    issue(number)
    answer = client.get(f"/networks/{number}/sheets/gap/sheet.pdf?paper={paper}")
    assert answer.content.startswith(b"%PDF-")
    if shutil.which("pdftotext") is None:
        return
    file = tmp_path / "sheet.pdf"
    file.write_bytes(answer.content)
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout

    for found in ("repeater delay: 14.5", "660.3331", "no authority to climb", "revision 2"):
        assert found in text.replace("\u202f", " ")


def test_there_is_no_sheet_of_a_site_that_does_not_exist(client: TestClient, number: int) -> None:
    """The answer names the sites there are."""
    answer = client.get(f"/networks/{number}/sheets/east")

    assert answer.status_code == 422
    assert "one of north, south, gap" in answer.text


def test_no_sheet_goes_out_for_a_relay_that_oscillates(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """What the off-air page knows reaches the sheet, whether or not the network names a terrain."""
    example["sites"][2]["off_air"] = {"receiving_gain_dbd": 10, "transmitting_gain_dbd": 8, "isolation_db": 30}
    number = store.create(example, author="test", reason="test").network_id

    sheet = client.get(f"/networks/{number}/sheets/gap").text
    assert "WITHHELD" in sheet
    assert "it oscillates" in sheet


def test_a_sheet_has_the_devices_own_words_and_what_a_change_does(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """Menu, sign, interruption, loss of the reference, instruments: where they are said, and nothing where not."""
    before = text_of(client, f"/networks/{store.create(example, author='t', reason='t').network_id}/sheets/north")
    field = example["sites"][0]["delay_fields"][0]
    field.update(menu="Audio > Delay", own_sign="+ is later", interrupts="yes")
    example["sites"][0]["without_reference"] = "mutes after 2 h"
    example["stages"][4]["measured_with"] = "counter, 3 m of cable, 60 ns of filter"
    number = store.create(example, author="test", reason="test").network_id

    sheet = text_of(client, f"/networks/{number}/sheets/north")
    said = ("under Audio &gt; Delay", "The device says: + is later", "INTERRUPTS the programme", "mutes after 2 h")
    for text in (*said, "with counter, 3 m of cable, 60 ns of filter"):
        assert text in sheet, text
        assert text not in before

    field.update(entered_at="head-end", transmitter_id="17", interrupts="no")
    number = store.create(example, author="test", reason="test").network_id
    sheet = text_of(client, f"/networks/{number}/sheets/north")
    assert "entered at the head-end for transmitter 17, not at this site" in sheet
    assert "does not interrupt the programme" in sheet
    issue(number)
    assert "codec delay: set at the head-end, not here" in text_of(client, f"/networks/{number}/sheets/north")


def test_a_first_try_leaves_room_in_the_fine_field(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """The exciter of 0 to 5000 us stands near its middle: 104 ms + 2382.7 us make the same 106 382.7 us."""
    number = store.create(assumed(example), author="test", reason="test").network_id
    issue(number)
    for page in ("sheets/south", "change"):
        shown = text_of(client, f"/networks/{number}/{page}")
        assert "104 ms" in shown
        assert "2 382.7 µs" in shown
    sheet = text_of(client, f"/networks/{number}/sheets/south")
    assert "2 382.7 µs earlier to 2 617.3 µs later" in sheet
    assert "106 382.7000 µs in all" in sheet


def test_delays_sent_in_the_stream_stand_on_the_head_end_sheet(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """By transmitter identifier, once issued; at the site nothing of it is to be set."""
    example["sites"][0]["delay_fields"][0] |= {"entered_at": "head-end", "transmitter_id": "0x0017"}
    number = store.create(example, author="test", reason="test").network_id
    before = text_of(client, f"/networks/{number}/head-end")
    assert "NOT ISSUED" in before
    assert "500 µs" not in before
    issue(number)

    after = text_of(client, f"/networks/{number}/head-end")
    for text in ("0x0017", "North ridge (north), main", "500 µs"):
        assert text in after
    assert "NOT ISSUED" not in after
    assert client.get(f"/networks/{number}/head-end.pdf").content.startswith(b"%PDF-")
    sheet = text_of(client, f"/networks/{number}/sheets/north")
    assert "set at the head-end, not here" in sheet
    assert "500 µs" not in sheet.partition("Added delay")[0]
    assert f"/networks/{number}/head-end" in client.get(f"/networks/{number}/sheets").text


def test_a_withheld_sheet_does_not_tell_the_setting_by_what_is_left(client: TestClient, store: Store) -> None:
    """The relay of the demonstration oscillates: what its fields have left would tell what they are to be set to."""
    document = json.loads((Path(__file__).parents[2] / "demo_sites" / "dvbt2_chain.json").read_text(encoding="utf-8"))
    relay = next(site for site in document["sites"] if site["id"] == "a05")
    number = store.create(document, author="test", reason="test").network_id
    assert "are left of" in text_of(client, f"/networks/{number}/sheets/a05")
    relay["off_air"] |= {"isolation_db": 40, "cancelled_db": 0}
    store.save(number, document, base_revision=1, author="test", reason="measured again")
    sheet = text_of(client, f"/networks/{number}/sheets/a05")
    assert "WITHHELD: set nothing at this site" in sheet
    assert "are left of" not in sheet


# contracts.md, worked example: settings, added delays, launches and what is left of them.
SETTINGS = (500, 122_600.4549, 106, 382.7, 14.5, 106_382.7, 106_382.6682, 122_587.9866, 122_660.3331, 0.0318, -0.1218)
PLACES = {
    "set_us",
    "value",
    "enter",
    "added_us",
    "launch_us",
    "passes_us",
    "rounding_us",
    "change",
    "change_us",
    "shift_us",
}


def numbers_in(told: Any, key: str = "") -> list[tuple[str, float]]:
    """Every number in plain data with the key that it stands under."""
    if isinstance(told, dict):
        return [found for name, inside in told.items() for found in numbers_in(inside, name)]
    if isinstance(told, list):
        return [found for inside in told for found in numbers_in(inside, key)]
    return [(key, told)] if isinstance(told, int | float) and not isinstance(told, bool) else []


@pytest.mark.parametrize("page", ["change", "sheets", "sheets/north", "sheets/south", "sheets/gap", "head-end"])
def test_what_a_page_withholds_its_json_withholds_too(
    client: TestClient, store: Store, example: dict[str, Any], page: str
) -> None:
    """South's exciter shapes the waveform: no setting of the release leaves by the other door, and it says why."""
    whole = store.create(example, author="test", reason="test").network_id
    example["stages"][7]["shapes_waveform"] = True
    held = store.create(example, author="test", reason="test").network_id

    def told(number: int) -> Any:
        answer = client.get(f"/api/pages/networks/{number}/{page}")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def settings(answer: Any) -> set[float]:
        found = [number for key, number in numbers_in(answer) if key in PLACES]
        return {one for one in SETTINGS for number in found if number == pytest.approx(one, abs=6e-5)}

    assert not settings(told(held))
    if page != "head-end":  # the example enters nothing there
        assert settings(told(whole))
        assert '"withheld":"' in client.get(f"/api/pages/networks/{held}/{page}").text


def test_the_reason_stands_where_the_setting_would(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Null with the reason, field by field; the way back stays."""
    example["stages"][7]["shapes_waveform"] = True
    number = store.create(example, author="test", reason="test").network_id
    (change, *_) = client.get(f"/api/pages/networks/{number}/change").json()["plan"]["changes"]
    field = change["routes"][0]["fields"][0]

    assert field["value"] is None
    assert "south-exciter changes the waveform" in field["withheld"]
    assert field["back"]["value"] == 0
    assert change["routes"][0]["row"]["latency_us"] is not None


def test_a_sheet_of_a_site_that_does_not_transmit_says_so(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """On its sheet, in both languages, and in the list; another site's sheet does not."""
    example["sites"][1]["on_air"] = False
    silent, other = example["sites"][1]["id"], example["sites"][0]["id"]
    german = example | {"work_order": {**(example.get("work_order") or {}), "language": "de"}}
    for document, said in ((example, "is planned as not transmitting"), (german, "sendet nicht, so ist es geplant")):
        number = store.create(document, author="A", reason="r").network_id
        assert said in client.get(f"/networks/{number}/sheets/{silent}").text
        assert said not in client.get(f"/networks/{number}/sheets/{other}").text
    assert client.get(f"/networks/{number}/sheets").text.count(", not transmitting</span>") == 1

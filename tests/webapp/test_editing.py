"""The newcomer's edits over the real application: forms, JSON, conflicts; nothing typed is lost."""

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from starlette.testclient import TestClient

Document = dict[str, Any]
EDIT = "/networks/1/edit"


@pytest.fixture
def network(post: Callable[..., Any], example: Document) -> str:
    """The example, imported."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    return str(answer.headers["location"])


def inputs(html: str) -> dict[str, str]:
    """What a browser without JavaScript would send of a page's editing form."""
    form = html.partition('class="document-form"')[2].partition("</form>")[0]
    sent = {}
    for tag in re.findall(r"<input[^>]*>", form):
        read = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if "name" in read and (read.get("type") not in ("checkbox", "radio") or re.search(r"\schecked", tag)):
            sent[unescape(read["name"])] = unescape(read.get("value", ""))
    for name, inside in re.findall(r'<select[^>]* name="([^"]*)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', inside)
        sent[unescape(name)] = unescape(chosen[1]) if chosen else ""
    for name, inside in re.findall(r'<textarea[^>]* name="([^"]*)"[^>]*>\n?(.*?)</textarea>', form, re.S):
        sent[unescape(name)] = unescape(inside).removeprefix("\n")
    return sent


def press(client: TestClient, page: Any, do: str, to: str = EDIT, **typed: str) -> Any:
    """Type into a page and press one of its buttons."""
    return client.post(to, data={**inputs(page.text), **typed, "do": do})


def confirming(client: TestClient, page: Any, do: str, to: str = EDIT) -> Any:
    """Tick the box under the map that a page asks with, and press one of its buttons."""
    assert 422 == page.status_code
    assert "nobody has confirmed on the map" in page.text
    box = re.search(r'type="checkbox" name="(stands-\d+)" value="([^"]+)"', page.text)
    assert box, "no box to tick"
    return press(client, page, do, to, **{box[1]: unescape(box[2])})


def document(client: TestClient) -> Document:
    """The newest revision's document."""
    exported: Document = client.get("/networks/1/export.json").json()
    return exported


@pytest.mark.parametrize("page", ["", "/sites/south", "/sites/north/chain", "/document"])
def test_saving_an_untouched_page_makes_no_revision(
    client: TestClient, network: str, example: Document, page: str
) -> None:
    """Every editing page sends back exactly the document it was made from."""
    after = press(client, client.get(network + page), "save", author="Ada")
    assert 200 == after.status_code
    assert "Nothing was changed." in after.text
    assert example == document(client)


def test_a_latency_is_changed(client: TestClient, network: str) -> None:
    """Typed on the chain page, saved with name and reason, found in the document and in the record."""
    page = client.get(f"{network}/sites/north/chain")
    typed = {"stages-4-latency_us": "1260", "author": "Ada", "reason": "measured again"}
    after = press(client, page, "save", **typed)
    assert "Saved as revision 2." in after.text
    assert f"{network}/sites/north/chain" == after.url.path
    assert 1260 == document(client)["stages"][4]["latency_us"]
    record = client.get(f"{network}/revisions").text
    assert "measured again" in record
    compared = client.get(f"{network}/compare?old=1&new=2").text
    assert "stages[north-exciter].latency_us" in compared
    assert "<del>1250</del>" in compared
    assert "<ins>1260</ins>" in compared


def test_what_is_wrong_is_shown_at_its_field_and_nothing_is_lost(client: TestClient, network: str) -> None:
    """All problems at once, each at its field; the good values typed beside them stay."""
    page = client.get(f"{network}/sites/south")
    after = press(
        client,
        page,
        "save",
        **{"sites-1-antenna_m": "forty", "sites-1-erp_kw-h": "-2", "sites-1-name": "South peak", "author": "Ada"},
    )
    assert 422 == after.status_code
    sent = inputs(after.text)
    assert ("forty", "-2", "South peak") == (
        sent["sites-1-antenna_m"],
        sent["sites-1-erp_kw-h"],
        sent["sites-1-name"],
    )
    assert 'href="#sites-1-antenna_m"' in after.text
    assert 'id="sites-1-antenna_m-problem1"' in after.text
    mended = press(client, after, "save", **{"sites-1-antenna_m": "41", "sites-1-erp_kw-h": "2"})
    assert "Saved as revision 2." in mended.text
    assert "South peak" == document(client)["sites"][1]["name"]


def test_a_save_needs_a_name(client: TestClient, network: str) -> None:
    """Without a name nothing is saved and nothing is lost; the name is remembered afterwards."""
    page = client.get(network)
    refused = press(client, page, "save", notes="changed", author=" ")
    assert 422 == refused.status_code
    assert "the record needs to know who changes this" in refused.text
    saved = press(client, refused, "save", author="Ada Example")
    assert "Saved as revision 2." in saved.text
    assert "changed notes" in client.get(f"{network}/revisions").text
    assert 'value="Ada Example"' in client.get(network).text


def test_forms_and_json_stay_in_step(client: TestClient, network: str) -> None:
    """What is typed in a form stands in the JSON, and the other way round, without saving."""
    page = client.get(network)
    as_json = press(client, page, "go document", name="Renamed in the form")
    text = inputs(as_json.text)["document"]
    assert "Renamed in the form" == json.loads(text)["name"]
    forms = press(client, as_json, "go network", document=text.replace("Renamed in the form", "Renamed in JSON"))
    assert "Renamed in JSON" == inputs(forms.text)["name"]
    assert "Not saved yet." in forms.text
    assert "Example valley FM" == document(client)["name"]
    assert "Saved as revision 2." in press(client, forms, "save", author="Ada").text
    assert "Renamed in JSON" == document(client)["name"]


@pytest.mark.parametrize("text", ["{", "[]", '{"sites": 3}', '{"format": NaN}', '{"a": 1, "a": 2}', "[" * 5000, ""])
def test_json_that_cannot_be_used_stays_as_it_was_typed(client: TestClient, network: str, text: str) -> None:
    """The text comes back to the letter, with what is wrong, whichever button was pressed."""
    page = client.get(f"{network}/document")
    for do in ("save", "go network"):
        answer = press(client, page, do, document=text, author="Ada")
        assert 422 == answer.status_code
        assert text == inputs(answer.text)["document"]
        assert "to put right" in answer.text
    assert 1 == len(re.findall("in force", client.get(f"{network}/revisions").text))


def test_a_site_is_added_and_removed(client: TestClient, network: str, example: Document) -> None:
    """Add a site, fill it in over several pages, save once; remove it again."""
    page = press(client, client.get(network), "add sites")
    assert "Not saved yet." in page.text
    assert 3 == len(document(client)["sites"])
    typed = {
        "sites-3-name": "East hill",
        "sites-3-id": "east",
        "sites-3-position-text": "36.3, -84.1",
        "sites-3-ground_m": "700",
        "sites-3-antenna_m": "30",
        "sites-3-erp_kw-h": "0.2",
        "sites-3-delay_fields-0-step": "1",
        "sites-3-delay_fields-0-greatest": "500000",
        "sites-3-delay_fields-0-set": "0",
    }
    chain = press(client, page, "go chain 3", **typed)
    assert "East hill" in chain.text
    asked = press(client, chain, "save", **{"stages-10-latency_us": "20000", "author": "Ada"})
    assert 3 == len(document(client)["sites"])
    saved = confirming(client, asked, "save")
    assert "Saved as revision 2." in saved.text, re.findall('class="problems".*?</ul>', saved.text, re.S)
    assert f"{network}/sites/east" == saved.url.path
    assert "East hill" == document(client)["sites"][3]["name"]
    removed = press(client, client.get(network), "remove sites-3")
    assert "Saved as revision 3." in press(client, removed, "save", author="Ada").text
    assert example == document(client)


def test_two_people_at_once(client: TestClient, network: str, client_with: Callable[..., TestClient]) -> None:
    """The second sees both versions, chooses where both changed the same, and both changes are kept."""
    mine, theirs = client.get(f"{network}/sites/south"), client.get(f"{network}/sites/south")
    other = {"sites-1-offset_us": "-10", "sites-1-ground_m": "905", "author": "Ben", "reason": "new survey"}
    assert "Saved as revision 2." in press(client, theirs, "save", **other).text
    conflict = press(client, mine, "save", **{"sites-1-offset_us": "-14", "sites-1-name": "South peak", "author": "Cy"})
    assert 409 == conflict.status_code
    assert "Ben saved first" in conflict.text
    assert "new survey" in conflict.text
    sent = inputs(conflict.text)
    assert "mine" == sent["choice sites[south].name"]
    assert "theirs" == sent["choice sites[south].ground_m"]
    assert "choice sites[south].offset_us" not in sent
    merge = f"{network}/merge"
    undecided = press(client, conflict, "", to=merge)
    assert 409 == undecided.status_code
    assert "both of you changed this" in undecided.text
    done = press(client, undecided, "", to=merge, **{"choice sites[south].offset_us": "mine"})
    assert "Both changes are saved, as revision 3." in done.text
    south = document(client)["sites"][1]
    assert ("South peak", -14, 905) == (south["name"], south["offset_us"], south["ground_m"])
    assert "Cy" in client.get(f"{network}/revisions").text


def test_deleted_while_editing(client: TestClient, network: str, post: Callable[..., Any]) -> None:
    """The page says so, keeps what was typed, and brings the network back with it."""
    page = client.get(network)
    post(f"{network}/delete")
    refused = press(client, page, "save", notes="typed meanwhile", author="Ada")
    assert 422 == refused.status_code
    assert "typed meanwhile" == inputs(refused.text)["notes"]
    assert "Bring it back and save" in refused.text
    back = press(client, refused, "revive")
    assert "Saved as revision 2." in back.text
    assert "typed meanwhile" == document(client)["notes"]


def test_restore(client: TestClient, network: str, example: Document, post: Callable[..., Any]) -> None:
    """An old revision becomes the newest, under the name of who did it."""
    press(client, client.get(network), "save", notes="worse", author="Ada")
    assert 422 == post(f"{network}/revisions/1/restore", author="").status_code
    assert 303 == post(f"{network}/revisions/1/restore", author="Ben").status_code
    assert example == document(client)
    assert "revision 1 restored" in client.get(f"{network}/revisions").text
    assert 404 == client.get(f"{network}/compare?old=1&new=77").status_code


def test_a_network_of_ones_own(client: TestClient) -> None:
    """The newcomer's form: what is missing is told at its field, then a network is there."""
    page = client.get("/networks/new")
    first = press(client, page, "", to="/networks/new", name="My valley")
    assert 422 == first.status_code
    assert "My valley" == inputs(first.text)["name"]
    typed = {
        "frequency_mhz": "98.3",
        "sites-0-name": "Main mast",
        "sites-0-position-text": "36.3 -84.2",
        "sites-0-ground_m": "800",
        "sites-0-antenna_m": "50",
        "sites-0-erp_kw-h": "3",
        "sites-0-delay_fields-0-greatest": "2000000",
        "stages-0-latency_us": "120000",
        "author": "Ada",
    }
    asked = press(client, first, "", to="/networks/new", **typed)
    assert "Is this where it stands?" in asked.text
    made = confirming(client, asked, "", to="/networks/new")
    assert "The network is made." in made.text, re.findall('class="problems".*?</ul>', made.text, re.S)
    assert "main-mast" == document(client)["sites"][0]["id"]


@pytest.mark.parametrize(
    "fields", [{}, {"base_revision": "x"}, {"base_revision": "1", "draft": "[]"}, {"base_revision": "1", "draft": "{"}]
)
def test_forms_that_no_page_of_ours_sends(
    client: TestClient, network: str, post: Callable[..., Any], fields: dict[str, str]
) -> None:
    """Answered in words, with no fault."""
    assert 422 == post(EDIT, do="save", **fields).status_code
    assert 404 == post(EDIT, do="save", base_revision="99").status_code
    assert 404 == post("/networks/55/edit", do="save", base_revision="1").status_code
    assert 404 == client.get(f"{network}/sites/nowhere").status_code


def test_the_check_speaks_without_standing_in_the_way(client: TestClient, network: str) -> None:
    """A plan that is wrong but can be used is saved; what the check finds stands on the pages, with the way there."""
    page = client.get(f"{network}/sites/north/chain")
    saved = press(client, page, "save", **{"stages-3-release_delay_us": "90000", "author": "Ada"})
    assert "Saved as revision 2." in saved.text
    assert "found by the check" in saved.text
    assert 'href="#stages-3' in saved.text
    overview = client.get(network).text
    assert "found by the check" in overview
    assert 'value="go chain 0"' in overview


def test_a_position_is_shown_as_it_was_understood(client: TestClient, network: str) -> None:
    """WGS 84 in three forms, the transformation and its accuracy in metres and microseconds; or why not."""
    page = client.get(f"{network}/sites/north")
    assert "36.370000, -84.250000" in page.text
    assert "degrees, minutes and seconds" in page.text
    typed = {"sites-0-position-text": "36°22'12.0\"N 84°15'00.0\"W", "sites-0-position-crs": "EPSG:4267"}
    shifted = press(client, page, "go site 0", **typed)
    assert "Not saved yet." in shifted.text
    assert "NAD27" in shifted.text
    assert "of travel time" in shifted.text
    unread = press(client, shifted, "go site 0", **{"sites-0-position-text": "over there"})
    assert "The position as it is understood" not in unread.text
    assert "over there" in unread.text
    assert "found by the check" in unread.text

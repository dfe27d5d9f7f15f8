"""Typed text into the document and back, nothing lost on the way."""

from typing import Any

import pytest

from sfn.plan import Network
from tests.number_texts import NO_NUMBER, READ, TWO_WAYS
from webapp.describe.chain import stages_on
from webapp.forms.fields import Group, Sheet
from webapp.forms.places import leaf_at, misshapen, path_of
from webapp.forms.structure import act
from webapp.forms.typed import applied, number
from webapp.store.documents import network_of

Document = dict[str, Any]


def values(group: Group) -> dict[str, str]:
    """What a browser would send for a group that nobody touched."""
    sent = {f.name: f.value for f in group.fields}
    for inner in group.groups:
        sent |= values(inner)
    return sent


def whole_form(document: Document) -> dict[str, str]:
    """Every field of every form of a document."""
    sheet = Sheet(document, ids={"stages": (), "fed_off_air_from": ()})
    sent = values(sheet.group("", leave_out=("format",)))
    for n in range(len(document["stages"])):
        sent |= values(sheet.group(f"stages-{n}"))
    for n, site in enumerate(document["sites"]):
        sent |= values(sheet.group(f"sites-{n}"))
        for m in range(len(site["delay_fields"])):
            sent |= values(sheet.group(f"sites-{n}-delay_fields-{m}"))
        for m, chain in enumerate(site["chains"]):
            sent |= values(sheet.group(f"sites-{n}-chains-{m}"))
            sent |= {f"sites-{n}-chains-{m}-stages-{k}": name for k, name in enumerate([*chain["stages"], ""])}
    return sent


def test_an_untouched_form_changes_nothing(example: Document) -> None:
    """Sending every field as it was shown leaves the document as it was, to the key and the kind of number."""
    sent = whole_form(example)
    assert len(sent) > 300
    after = applied(example, sent)
    assert example == after
    assert repr(example) == repr(after)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("850", 850),
        (" 0.5 ", 0.5),
        ("-12.5", -12.5),
        ("−12.5", -12.5),
        ("120 000", 120000),
        ("1e3", 1000.0),
        *((text, value) for text, value in READ.items() if not value.is_integer()),
        *((text, text) for text in (*TWO_WAYS, *NO_NUMBER)),
    ],
)
def test_numbers_as_people_type_them(text: str, value: object) -> None:
    """A number is a number; what is none stays as typed, and nothing is guessed."""
    assert value == number(text)
    assert type(value) is type(number(text))


def test_typed_value_lands_at_its_place(example: Document) -> None:
    """One name from form to document."""
    after = applied(example, {"stages-1-latency_us": "21 500", "sites-1-position-text": "36.2, -84.2"})
    assert 21500 == after["stages"][1]["latency_us"]
    assert "36.2, -84.2" == after["sites"][1]["position"]["text"]
    assert 21000 == example["stages"][1]["latency_us"], "the document it began with is not touched"


def test_what_is_no_number_is_kept_and_refused_at_its_field(example: Document) -> None:
    """The text comes back in its field with the problem beside it."""
    after = applied(example, {"stages-2-latency_us": "21,500"})
    with pytest.raises(Exception, match=r"stages\[2\]\.latency_us") as caught:
        network_of(after, "")
    group = Sheet(after, caught.value.problems).group("stages-2")  # type: ignore[attr-defined]
    shown = next(f for f in group.fields if f.name == "stages-2-latency_us")
    assert "21,500" == shown.value
    assert 1 == len(shown.problems)


def test_an_emptied_field_leaves_the_document(example: Document) -> None:
    """Empty means not said; a record in which nothing is said goes too."""
    started = applied(example, {"work_order-change_window": "Sunday 02:00 to 04:00"})
    assert {"change_window": "Sunday 02:00 to 04:00"} == started["work_order"]
    assert example == applied(started, {"work_order-change_window": ""})
    assert "tolerance_us" not in applied(example, {"stages-0-tolerance_us": ""})["stages"][0]


def test_boxes(example: Document) -> None:
    """A ticked box is true, an unticked one false, and an optional one that stays unticked is not mentioned."""
    after = applied(example, {"sites-0-on_air": "no", "sites-0-remote": "no", "sites-1-remote": "yes"})
    assert after["sites"][0]["on_air"] is False
    assert "remote" not in after["sites"][0]
    assert after["sites"][1]["remote"] is True


def test_changed_short_name_is_followed_everywhere(example: Document) -> None:
    """Chains, sections and feeds keep pointing at the renamed stage or site."""
    after = applied(example, {"stages-1-id": "wan", "stages-0-id": "converter", "sites-0-id": "top"})
    assert ["wan", "north-fec"] == after["stages"][3]["inside"]
    assert ["converter", "converter"] == [site["chains"][0]["stages"][0] for site in after["sites"][:2]]
    assert "top" == after["sites"][2]["fed_off_air_from"]
    assert isinstance(network_of(after, ""), Network)


def test_steps_of_a_chain(example: Document) -> None:
    """An emptied step leaves the chain, the empty one at the end takes a new stage."""
    name = "sites-1-chains-0-stages"
    after = applied(example, {f"{name}-1": "", f"{name}-4": "gap-repeater"})
    expected = ["studio-converter", "south-exciter", "south-feeder", "gap-repeater"]
    assert expected == after["sites"][1]["chains"][0]["stages"]


def test_setting_of_a_route(example: Document) -> None:
    """What a field is set to on a route is held under the field's name."""
    after = applied(example, {"sites-1-chains-0-set-1": "382.7", "sites-1-chains-0-set-0": ""})
    assert {"exciter delay": 382.7} == after["sites"][1]["chains"][0]["set"]
    assert example == applied(after, {"sites-1-chains-0-set-1": ""})


@pytest.mark.parametrize(
    "name",
    ["sites-9-name", "sites-x-name", "sites-0", "nothing", "sites-0-name-0", "sites-0-chains-0-stages-999999999"],
)
def test_names_that_fit_nowhere_do_nothing(example: Document, name: str) -> None:
    """A field that no form of ours has is left alone, never an exception, never memory."""
    assert example == applied(example, {name: "x"})


def test_every_key_of_the_model_has_its_words() -> None:
    """Every number in the document that has a unit in its name shows it; every key has a sentence."""
    for path in ("frequency_mhz", "sites-0-ground_m", "stages-0-latency_us", "sites-0-delay_fields-0-insertion_us"):
        found = leaf_at(path_of(path))
        assert found is not None
        assert found.help
        assert found.unit


def test_structure(example: Document) -> None:
    """Sites, delay fields, routes and stages are added, moved and removed."""
    added = act(example, "add sites")
    assert 4 == len(added["sites"])
    assert added["sites"][3]["chains"][0]["stages"][0] == added["stages"][-1]["id"]
    assert example == act(added, "remove sites-3"), "with the stage that only it used"
    kept = act(example, "remove sites-1")
    assert "studio-converter" in {s["id"] for s in kept["stages"]}, "shared with another site"
    assert "south-link" not in {s["id"] for s in kept["stages"]}
    assert 3 == len(act(example, "add sites-1-delay_fields")["sites"][1]["delay_fields"])
    assert 1 == len(act(example, "remove sites-1-delay_fields-0")["sites"][1]["delay_fields"])
    routes = act(example, "add sites-0-chains")["sites"][0]["chains"]
    assert ["main", "standby"] == [chain["route"] for chain in routes]
    moved = act(example, "down sites-1-chains-0-stages-0")["sites"][1]["chains"][0]["stages"]
    assert ["south-link", "studio-converter"] == moved[:2]
    assert example == act(example, "up sites-1-chains-0-stages-0")
    fresh = act(example, "new-stage sites-1-chains-0-stages")
    assert fresh["stages"][-1]["id"] == fresh["sites"][1]["chains"][0]["stages"][-1]
    for nonsense in (
        "",
        "remove",
        "remove sites-99",
        "add name",
        "add x",
        "up sites",
        "fly sites-0",
        "add sites-x-chains",
    ):
        assert example == act(example, nonsense), nonsense


def test_removing_a_site_keeps_stages_inside_others_sections(example: Document) -> None:
    """Stages inside a removed site's section go with it."""
    left = {s["id"] for s in act(example, "remove sites-0")["stages"]}
    assert not left & {"north-wan", "north-fec", "north-release"}


def test_documents_that_no_form_can_show(example: Document) -> None:
    """A list where a record must stand is told with its place; a wrong number is not its business."""
    assert () == misshapen(example)
    assert () == misshapen({**example, "frequency_mhz": "x"})
    assert ["document"] == [p.where for p in misshapen([])]
    assert ["sites"] == [p.where for p in misshapen({**example, "sites": {}})]
    assert ["sites[0]", "sites[1].chains[0].stages"] == [
        p.where for p in misshapen({"sites": [1, {"chains": [{"stages": [2]}]}]})
    ]


def test_stages_of_a_site_in_the_order_of_the_signal(example: Document) -> None:
    """Those inside a section follow it."""
    names = [example["stages"][n]["id"] for n in stages_on(example, example["sites"][0])]
    assert ["studio-converter", "north-release", "north-wan", "north-fec", "north-exciter", "north-feeder"] == names


def test_a_value_that_nobody_has_read_stays_so_until_it_is_typed(example: Document) -> None:
    """Null in a route's settings: an untouched form must not let the field's own value stand there instead."""
    names = [field["name"] for field in example["sites"][1]["delay_fields"]]
    example["sites"][1]["chains"][0]["set"] = {names[0]: None}
    assert applied(example, {"sites-1-chains-0-set-0": ""}) == example
    after = applied(example, {"sites-1-chains-0-set-0": "3"})
    assert {names[0]: 3} == after["sites"][1]["chains"][0]["set"]

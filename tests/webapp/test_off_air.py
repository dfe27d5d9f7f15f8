"""Sites fed off air: figures typed on their page, worked out without saving, saved as a revision."""

import pytest

FIELDS = {
    "sites-2-off_air-receiving_gain_dbd": "10", "sites-2-off_air-transmitting_gain_dbd": "8",
    "sites-2-off_air-isolation_db": "95",
}  # fmt: skip


@pytest.fixture
def number(store, example):
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def edit(post, number, do, **fields):
    """Press a button of the page's form."""
    base = {"base_revision": "1", "view": "off-air", "index": "0", "do": do}
    return post(f"/networks/{number}/edit", **base, **fields)


def plain(answer) -> str:
    """The page with ordinary spaces."""
    return answer.text.replace("\u202f", " ")


def test_the_page_names_what_is_missing_and_what_is_heard(client, number):
    """Before anything is typed the wrong parent's risk is there already."""
    html = plain(client.get(f"/networks/{number}/off-air"))

    assert "Gap, fed off air from North ridge" in html
    assert "receiving antenna gain, transmitting antenna gain, isolation" in html
    assert "If North ridge stops transmitting, the strongest that is left is <strong>South ridge</strong>" in html
    assert "7.50 µs" in html


def test_worked_out_without_saving(post, store, number):
    """The margin appears, what was typed stays, and nothing is saved."""
    html = plain(edit(post, number, "look", **FIELDS))

    assert "Gain margin <strong>" in html
    assert 'value="95"' in html
    assert "Not saved yet." in html
    assert 1 == store.read(number).revision.number


def test_saved_as_a_revision(client, post, store, number):
    """Saved figures are in the document, and the page shows them again."""
    sent = edit(post, number, "save", author="Ann", **FIELDS)

    assert f"/networks/{number}/off-air" == sent.headers["location"]
    assert 95 == store.read(number).document["sites"][2]["off_air"]["isolation_db"]
    assert 'value="95"' in client.get(sent.headers["location"]).text


def test_what_cannot_be_saved_stays_typed_at_its_field(post, number):
    """A wild isolation is refused where it was typed."""
    answer = edit(post, number, "save", author="Ann", **FIELDS | {"sites-2-off_air-isolation_db": "950"})

    assert 422 == answer.status_code
    assert 'value="950"' in answer.text
    assert "sites-2-off_air-isolation_db-problem1" in answer.text


def test_a_network_without_such_sites_says_how_one_is_made(client, store, example):
    """No form, but a way to the fields."""
    del example["sites"][2]
    number = store.create(example, author="test", reason="test").network_id

    assert "No site of this network is fed off air" in client.get(f"/networks/{number}/off-air").text

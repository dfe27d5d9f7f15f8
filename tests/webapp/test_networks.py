"""The first screen: import, export, demos, delete and undo, over the real application."""

import json
from collections.abc import Callable
from typing import Any

from starlette.testclient import TestClient

from sfn.plan.demos import demo_files

Post = Callable[..., Any]


def imported(post: Post, document: dict[str, Any]) -> str:
    """Import a document; gives the new network's address."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(document))}, author="Ada")
    assert 303 == answer.status_code, answer.text
    return str(answer.headers["location"])


def test_first_screen_of_a_fresh_start(client: TestClient) -> None:
    """A fresh start shows how to begin."""
    page = client.get("/")
    assert 200 == page.status_code
    assert "No network yet" in page.text
    assert "Import a document" in page.text


def test_import_then_export_gives_the_same_document(client: TestClient, post: Post, example: dict[str, Any]) -> None:
    """A document comes out as it went in, to the key and the digit."""
    address = imported(post, example)
    assert "Example valley FM" in client.get(address).text
    exported = client.get(f"{address}/export.json")
    assert example == exported.json()
    assert "network-1-revision-1.json" in exported.headers["content-disposition"]


def test_unusable_import_is_answered_in_words(client: TestClient, post: Post, example: dict[str, Any]) -> None:
    """Every problem of an imported document is told with file and place; nothing is made."""
    example["sites"][1]["antenna_m"] = -4
    example["colour"] = "blue"
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    assert 422 == answer.status_code
    assert "mine.json: sites[1].antenna_m" in answer.text
    assert "mine.json: colour" in answer.text
    assert "No network yet" in client.get("/").text


def test_import_of_what_is_no_document_is_answered_in_words(post: Post) -> None:
    """Bytes that are no document give a sentence, never a traceback."""
    for content in (b"\xff\xfe\x00", b"{", b"[" * 100_000, b"null", b'{"format": NaN}', b""):
        answer = post("/networks/import", files={"file": ("mine.json", content)}, author="Ada")
        assert 422 == answer.status_code, content[:10]
        assert "mine.json: " in answer.text


def test_markup_in_a_document_is_shown_not_run(client: TestClient, post: Post, example: dict[str, Any]) -> None:
    """Text from documents is escaped on every page that shows it."""
    example["name"] = "<script>alert(1)</script>"
    example["sites"][0]["name"] = '"><img src=x onerror=alert(1)>'
    address = imported(post, example)
    for page in (client.get("/").text, client.get(address).text):
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert "&lt;script&gt;alert(1)" in page


def test_delete_and_undo(client: TestClient, post: Post, example: dict[str, Any]) -> None:
    """A deleted network is gone from the list, its page says where it went, and it can be brought back."""
    address = imported(post, example)
    assert 303 == post(f"{address}/delete").status_code
    gone = client.get(address)
    assert 404 == gone.status_code
    assert "deleted networks" in gone.text
    assert "Example valley FM" in client.get("/deleted").text
    assert address == post(f"{address}/undelete").headers["location"]
    assert 200 == client.get(address).status_code


def test_every_demo_loads(client: TestClient, post: Post) -> None:
    """Each demo network on offer becomes a network of one's own."""
    for file in demo_files():
        answer = post(f"/networks/demo/{file.stem}")
        assert 303 == answer.status_code, file.name
        assert 200 == client.get(answer.headers["location"]).status_code
    assert 404 == post("/networks/demo/nothing").status_code

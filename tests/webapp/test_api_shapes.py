"""Every answer of a page under /api/pages has the shape that the schema says, and every operation has one."""

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError, best_match
from starlette.testclient import TestClient

from sfn.plan.demos import demo_files
from webapp.shell.api_pages import PREFIX
from webapp.store.store import Store

PLACE = {"lat": 36.28, "lon": -84.19, "old": 1, "new": 1}


@pytest.fixture
def schema(client: TestClient) -> dict[str, Any]:
    """The application's description."""
    found: dict[str, Any] = client.get("/api/openapi.json").json()
    return found


def shape(schema: dict[str, Any], path: str, method: str, status: str) -> Draft202012Validator:
    """What checks an answer."""
    content = schema["paths"][path][method]["responses"][status]["content"]
    return Draft202012Validator({**content["application/json"]["schema"], "components": schema["components"]})


def wrong(checks: Draft202012Validator, answer: Any) -> list[str]:
    """Where an answer has another shape, in a line each: the deepest of what does not fit."""
    return [f"{one.json_path}: {one.message[:200]}" for one in map(_deepest, checks.iter_errors(answer))]


def _deepest(error: ValidationError) -> ValidationError:
    """The reason of a reason."""
    return _deepest(best_match(iter(error.context))) if error.context else error


def test_every_operation_says_what_it_answers(schema: dict[str, Any]) -> None:
    """A schema or a kind of file; only what answers nothing (204) has none. References lead somewhere."""
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            answers = {code: said for code, said in operation["responses"].items() if code.startswith("2")}
            assert answers, path
            for code, said in answers.items():
                assert code == "204" or any(one.get("schema") for one in said.get("content", {}).values()), (
                    method,
                    path,
                )
    named = set(schema["components"]["schemas"])
    text = json.dumps(schema)
    used = {part.partition('"')[0] for part in text.split('"$ref": "#/components/schemas/')[1:]}
    assert used <= named, used - named
    assert "DelaysPage" in used


@pytest.mark.parametrize("demo", [path.stem for path in demo_files()])
def test_pages_answer_in_their_shape(client: TestClient, store: Store, schema: dict[str, Any], demo: str) -> None:
    """Every page that needs nothing but its network, of each demo."""
    document = json.loads(next(path for path in demo_files() if path.stem == demo).read_text("utf-8"))
    number = store.create(document, author="test", reason="first").network_id
    site = document["sites"][0]["id"]
    asked = 0
    for path, methods in schema["paths"].items():
        where = path.replace("{network_id}", str(number)).replace("{site_id}", site)
        if "get" not in methods or "{" in where or not path.startswith(PREFIX):
            continue
        answer = client.get(where, params=PLACE)
        if answer.status_code == 200 and answer.headers["content-type"] == "application/json":
            assert not wrong(shape(schema, path, "get", "200"), answer.json()), path
            asked += 1
    assert asked > 25


def test_actions_answer_in_their_shape(
    client: TestClient, store: Store, schema: dict[str, Any], example: dict[str, Any]
) -> None:
    """What is done, what is refused, what is shown for a look first."""
    number = store.create(example, author="test", reason="first").network_id
    place = f"{PREFIX}/networks/{{network_id}}"
    for path, body, status in (
        ("/ages", {"base": 1, "stage": ["north-exciter"], "firmware": "9", "day": "2026-11-01", "author": "me"}, 200),
        ("/ages", {"base": 1, "stage": ["north-exciter"], "firmware": "9", "day": "soon", "author": "me"}, 422),
        ("/road/upload", {"line": "36.28, -84.30\n36.33, -84.20", "spacing_m": 500}, 200),
        ("/road/upload", {"line": "nowhere", "spacing_m": 500}, 422),
        ("/signals", {"signals": "nothing"}, 422),
    ):
        answer = client.post((place + path).replace("{network_id}", str(number)), json=body)
        assert answer.status_code == status, answer.text[:300]
        checks = shape(schema, place + path, "post", "200" if status == 200 else "4XX")
        assert not wrong(checks, answer.json()), path

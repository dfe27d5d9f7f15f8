"""The security table: every number of the standard stands in it once, with a test that exists; and what has no other test."""

import ast
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from argon2 import extract_parameters
from starlette.testclient import TestClient

from webapp.config.settings import SECRETS_FILE, write_secrets
from webapp.front.trust import SECURITY
from webapp.store.passwords import hash_password, token_hash

ROOT = Path(__file__).parents[2]
TABLE: list[dict[str, Any]] = tomllib.loads(SECURITY.read_text(encoding="utf-8"))["row"]
# OWASP ASVS 4.0.3, 4.0/en of https://github.com/OWASP/ASVS: what chapters 2 to 5, 8, 12 and 13 ask at level 2 (levels 1
# and 2 together), counted by section; also where its table has words instead of a tick (2.10, 3.3.2).
LEVEL_2 = """
2.1.1-12 2.2.1-3 2.3.1-3 2.4.1-6 2.5.1-7 2.6.1-3 2.7.1-6 2.8.1-7 2.9.1-3 2.10.1-4 3.1.1 3.2.1-4 3.3.1-4 3.4.1-5 3.5.1-3
3.7.1 4.1.1-3 4.1.5 4.2.1-2 4.3.1-3 5.1.1-5 5.2.1-8 5.3.1-10 5.4.1-3 5.5.1-4 8.1.1-4 8.2.1-3 8.3.1-8 12.1.1-3 12.2.1
12.3.1-6 12.4.1-2 12.5.1-2 12.6.1 13.1.1 13.1.3-5 13.2.1-3 13.2.5-6 13.3.1-2 13.4.1-2
"""


def asked() -> list[str]:
    """Every number, written out."""
    found = []
    for text in LEVEL_2.split():
        section, _, numbers = text.rpartition(".")
        first, _, last = numbers.partition("-")
        found += [f"{section}.{n}" for n in range(int(first), int(last or first) + 1)]
    return found


def test_every_requirement_stands_in_the_table_once() -> None:
    """None is left out, none is invented."""
    assert sorted(n for row in TABLE for n in row["numbers"]) == sorted(asked())


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["numbers"][0])
def test_what_is_met_has_a_test(row: dict[str, Any]) -> None:
    """That exists under this name; what is not met, or does not apply, says so."""
    assert row["met"] in ("yes", "partly", "no", "none")
    assert row["how"]
    assert row["what"]
    file, _, name = row["test"].partition("::")
    if not row["test"]:
        assert row["met"] in ("no", "none")
        return
    text = (ROOT / file).read_text(encoding="utf-8")
    assert name == "*" or f"def {name}(" in text


def test_the_table_is_shown(client: TestClient) -> None:
    """On the page of what to trust."""
    text = client.get("/trust").text
    assert "OWASP ASVS 4.0.3" in text
    assert all(row["what"].replace("'", "&#39;") in text for row in TABLE)


def test_nothing_but_static_files_is_served(client: TestClient) -> None:
    """No listing, no file of the program, no way up."""
    for where in (
        "/static/",
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/.git/config",
        "/secrets.json",
        "/static/.env",
    ):
        assert client.get(where).status_code == 404, where
    assert client.get("/static/style.css").status_code == 200


def test_answers_are_not_stored(client: TestClient) -> None:
    """Neither by the browser nor on the way."""
    for where in ("/", "/api/networks", "/users", "/nothing"):
        assert client.get(where).headers["cache-control"] == "no-store"


def test_a_hash_costs_what_the_standard_asks() -> None:
    """2.4.5: 15 MiB, two rounds, one lane at least; 2.4.2: 32 bits of salt."""
    held = extract_parameters(hash_password("several words do well"))
    assert held.memory_cost >= 15 * 1024
    assert held.time_cost >= 2
    assert held.parallelism >= 1
    assert held.salt_len >= 4


def test_secrets_are_their_owners_alone(tmp_path: Path) -> None:
    """What is made at the first start is readable by nobody else."""
    write_secrets(tmp_path / "data", {"session_key": "x" * 43})
    assert (tmp_path / "data" / SECRETS_FILE).stat().st_mode & 0o077 == 0
    assert (tmp_path / "data").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("kind", ["application/xml", "text/plain", ""])
def test_another_type_of_content_is_refused(client_with: Callable[..., TestClient], kind: str) -> None:
    """With the status for it, and what would be right."""
    client = client_with(api_token_hash=token_hash("a token"))
    headers = {"authorization": "Bearer a token", **({"content-type": kind} if kind else {})}
    answer = client.post("/api/networks", content=b"<a/>", headers=headers)
    assert answer.status_code == 415
    assert "application/json" in answer.json()["problems"][0]["expected"]


def calls(folder: str) -> list[tuple[str, str]]:
    """Every call in a part of the program, with its file."""
    return [
        (path.name, ast.unparse(node.func))
        for path in sorted((ROOT / folder).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
    ]


def test_nothing_is_evaluated() -> None:
    """No code and no template out of text, no shell, no objects out of a file."""
    wrong = re.compile(
        r"(^|\.)(eval|exec|from_string|system|popen|Popen|loads?_pickle)$|^pickle\.|^subprocess\.|^yaml\.|^marshal\."
    )
    assert [call for part in ("webapp", "sfn") for call in calls(part) if wrong.search(call[1])] == []


def test_no_query_is_made_of_text() -> None:
    """Only SQLite's own settings and a copy's checks are text, and they are constant."""
    made_of_text = [
        (path.name, ast.unparse(node)[:80])
        for path in sorted((ROOT / "webapp").rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).endswith((".execute", ".exec_driver_sql", ".executescript", "text"))
        and node.args
        and isinstance(node.args[0], ast.JoinedStr | ast.BinOp)
    ]
    assert [name for name, said in made_of_text if "PRAGMA {pragma}" not in said and "execut" in said] == []


def test_xml_is_read_defused() -> None:
    """Every reader of XML is defusedxml's."""
    for part in ("sfn", "webapp"):
        for path in (ROOT / part).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("xml"):
                    assert {alias.name for alias in node.names} <= {
                        "Element",
                        "SubElement",
                        "tostring",
                        "indent",
                        "ParseError",
                        "escape",
                        "quoteattr",
                    }, path
                if isinstance(node, ast.Import):
                    assert not [alias.name for alias in node.names if alias.name.startswith("xml")], path

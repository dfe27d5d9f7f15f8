"""What scripts rely on, as one sorted document: addresses, operations, form names, options of commands, keys of answers.

``python -m tests.surface`` adds to `surface.json` what is new; it never takes anything out. `tests/webapp/test_surface.py` asks
that all of it is still there. Whoever means to drop a line, drops it by hand, and says why in the commit.
"""

import argparse
import importlib
import json
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sfn
from sfn.cli import COMMANDS
from sfn.plan.demos import demo_files

FILE = Path(__file__).parent / "surface.json"
PIXEL_M = 3000.0
_NUMBERED, _GAP = re.compile(r"\{(network_id|number|token_id)\}"), re.compile(r"\{[^}]*\}")
_PLACE = {"lat": 36.28, "lon": -84.19, "old": 1, "new": 1}


def key_paths(value: Any, path: str = "") -> Iterator[str]:
    """Every key of a JSON document by its way there, entries of lists as ``[]``."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield f"{path}.{key}"
            yield from key_paths(inner, f"{path}.{key}")
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from key_paths(inner, f"{path}[]")


def commands() -> dict[str, list[str]]:
    """Options and arguments of every command."""
    found = {}
    for name in COMMANDS:
        parser = argparse.ArgumentParser()
        module = importlib.import_module(f"sfn.cli.{name}")
        module.arguments(parser)
        found[module.NAME] = sorted(
            text for action in parser._actions for text in action.option_strings or [str(action.metavar or action.dest)]
        )
    return found


def answers() -> dict[str, list[str]]:
    """Keys of the answers of the library, which are those of the commands, over the FM and the DAB demo."""
    found: dict[str, set[str]] = {}
    for name in ("fm_ridge", "dab_plain"):
        plan = sfn.load_demo(name)
        site = plan.network.sites[0]
        located = sfn.delay_table(plan).found.placed[site.id]
        for key, answer in (
            ("delays", sfn.delay_table(plan)),
            ("point", sfn.point(plan, located.lat_deg + 0.03, located.lon_deg)),
            ("zones", sfn.coverage(plan, pixel_m=PIXEL_M)),
        ):
            found.setdefault(key, set()).update(key_paths(answer.document))
    return {key: sorted(paths) for key, paths in found.items()}


def web() -> dict[str, Any]:
    """Addresses, operations, form names, and keys of every page's and interface's answer to a plain GET."""
    from starlette.testclient import TestClient

    from webapp.app import create_app
    from webapp.config.addresses import ROUTES
    from webapp.config.settings import Settings
    from webapp.shell.form_spelled import form_fields
    from webapp.store.store import Store

    with tempfile.TemporaryDirectory() as name:
        settings = Settings(
            Path(name), f"sqlite:///{name}/networks.sqlite", session_key="test-key-of-the-tests-that-nobody-guesses"
        )
        store = Store(settings.database_url)
        document = json.loads(next(path for path in demo_files() if path.stem == "fm_ridge").read_text("utf-8"))
        network_id = store.create(document, author="surface", reason="demo").network_id
        client = TestClient(create_app(settings, store), base_url="http://127.0.0.1:8430")
        schema = client.get("/api/openapi.json").json()
        operations = {
            operation["operationId"]: f"{method.upper()} {path}"
            for path, methods in schema["paths"].items()
            for method, operation in methods.items()
        }
        keys = {}
        for path, methods in schema["paths"].items():
            where = path.replace("{network_id}", str(network_id)).replace("{site_id}", document["sites"][0]["id"])
            where = where.replace("{number}", "1")
            if "get" in methods and "{" not in where:
                answer = client.get(where, params=_PLACE)
                if answer.headers.get("content-type") == "application/json" and answer.status_code == 200:
                    keys[path] = sorted(set(key_paths(answer.json())))
        forms: dict[str, list[str]] = {}
        for route, names in form_fields().items():
            address = _NUMBERED.sub("1", ROUTES[route])
            address = _GAP.sub("x", address)
            forms[address] = sorted({*forms.get(address, ()), *names})
        browser = sorted(_browser_addresses())
        client.close()
    return {"operations": operations, "forms": forms, "browser": browser, "keys": keys}


def _browser_addresses() -> Iterator[str]:
    """Every page and action of the browser."""
    from fastapi.routing import APIRoute

    from webapp.app import ROUTERS

    for router in ROUTERS:
        for route in router.routes:
            if isinstance(route, APIRoute):
                yield from (f"{method} {route.path}" for method in route.methods or ())


def surface() -> dict[str, Any]:
    """All of it."""
    return {"commands": commands(), "answers": answers(), **web()}


def joined(kept: Any, now: Any) -> Any:
    """What is kept, with what is new."""
    if isinstance(kept, dict):
        return {key: joined(kept.get(key), now.get(key, {})) if key in kept else now[key] for key in {**kept, **now}}
    if isinstance(kept, list):
        return sorted({*kept, *(now or [])})
    return kept


def missing(kept: Any, now: Any, path: str = "") -> Iterator[str]:
    """What is kept and no longer there."""
    if isinstance(kept, dict):
        for key, inner in kept.items():
            if not isinstance(now, dict) or key not in now:
                yield f"{path}: {key}"
            else:
                yield from missing(inner, now[key], f"{path}: {key}")
    elif isinstance(kept, list):
        yield from (f"{path}: {one}" for one in kept if one not in (now or ()))
    elif kept != now:
        yield f"{path}: was {kept}, is {now}"


def main() -> None:
    """Add what is new."""
    kept = json.loads(FILE.read_text("utf-8")) if FILE.exists() else {}
    now = surface()
    gone = list(missing(kept, now))
    FILE.write_text(json.dumps(joined(kept, now), indent=0, sort_keys=True, ensure_ascii=False) + "\n", "utf-8")
    print(*gone, sep="\n", file=sys.stderr)


if __name__ == "__main__":
    main()

"""Networks that tests vary: the example document and small ones built on it."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sfn.plan import Network, read

EXAMPLE_PATH = Path(__file__).parent / "example-network.json"


def example(change: Callable[[dict[str, Any]], object] | None = None) -> Network:
    """The example network, changed in place by `change`."""
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    if change is not None:
        change(tree)
    return read(json.dumps(tree))


def field(**changes: Any) -> dict[str, Any]:
    """A delay field as a document has it."""
    return {
        "name": "delay",
        "unit": "us",
        "step": 1,
        "least": 0,
        "greatest": 2_000_000,
        "sign": "later",
        "set": 0,
    } | changes

"""What was worked out from a record is kept for that very record, and not longer."""

import gc
import json
from pathlib import Path

import pytest

from sfn.by_identity import ByIdentity
from sfn.plan import checksum, read

EXAMPLE = Path(__file__).parent / "example-network.json"


class Thing:
    """Something that is equal to everything of its kind, and may be referred to weakly."""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Thing)

    def __hash__(self) -> int:
        return 1


def test_it_is_made_once_for_each_object_and_goes_with_it() -> None:
    """Equal objects are two."""
    kept: ByIdentity[Thing, int] = ByIdentity()
    one, equal, asked = Thing(), Thing(), []

    def make(thing: Thing) -> int:
        asked.append(thing)
        return len(asked)

    assert [kept.get(one, make), kept.get(one, make), kept.get(equal, make), kept.get(one, make)] == [1, 1, 2, 1]
    asked.clear()
    del equal
    gc.collect()
    assert len(kept) == 1


def test_an_object_at_the_place_of_one_that_is_gone_gets_its_own() -> None:
    """Numbers of objects are used again."""
    kept: ByIdentity[Thing, int] = ByIdentity()
    for n in range(1000):
        thing = Thing()  # the interpreter gives out the same number again
        assert kept.get(thing, lambda _, n=n: n) == n
        del thing
    gc.collect()
    assert len(kept) == 0


@pytest.mark.parametrize("changed", [{"name": "another"}, {"frequency_mhz": 98.6}])
def test_a_changed_copy_has_a_checksum_of_its_own(changed: dict[str, object]) -> None:
    """Nothing of the original is taken along."""
    tree = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    network = read(json.dumps(tree))
    before = checksum(network)
    copied, again = network.model_copy(update=changed), read(json.dumps(tree | changed))
    assert checksum(copied) == checksum(again) != before
    assert checksum(network) == before == checksum(read(json.dumps(tree)))

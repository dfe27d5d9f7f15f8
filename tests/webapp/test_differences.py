"""Two documents field by field, and three put together."""

from copy import deepcopy
from typing import Any

from webapp.store.differences import ABSENT, clashes, compared, in_words, merged

Document = dict[str, Any]


def edited(document: Document, edit: Any) -> Document:
    """A copy that `edit` has changed."""
    copy = deepcopy(document)
    edit(copy)
    return copy


def test_nothing_changed(example: Document) -> None:
    """Equal documents have no differences; 850 and 850.0 are equal, 1 and true are not."""
    assert () == compared(example, edited(example, lambda d: d["stages"][0].update(latency_us=850.0)))
    changed = compared({"a": 1}, {"a": True})
    assert ["a"] == [d.where for d in changed]


def test_paths_name_entries_and_not_positions(example: Document) -> None:
    """A changed value is found under its site's and field's name, though others were put before it."""

    def edit(document: Document) -> None:
        document["sites"][1]["delay_fields"][1]["set"] = 7
        document["sites"].insert(0, {"id": "new", "name": "New"})
        del document["sites"][3]

    found = {d.where: (d.old, d.new) for d in compared(example, edited(example, edit))}
    assert {"sites[south].delay_fields[exciter delay].set", "sites[new]", "sites[gap]"} == set(found)
    assert (0, 7) == found["sites[south].delay_fields[exciter delay].set"]
    assert found["sites[gap]"][1] is ABSENT


def test_a_moved_stage_is_one_difference(example: Document) -> None:
    """The order of a chain is one value; the order of sites is told as order."""
    swapped = edited(example, lambda d: d["sites"][0]["chains"][0]["stages"].reverse())
    assert ["sites[north].chains[main].stages"] == [d.where for d in compared(example, swapped)]
    turned = edited(example, lambda d: d["sites"].reverse())
    assert ["sites (order)"] == [d.where for d in compared(example, turned)]


def test_changes_of_two_people_are_put_together(example: Document) -> None:
    """Each one's change stands where the other left it; what both changed is asked."""

    def by_me(document: Document) -> None:
        document["sites"][1]["offset_us"] = -10
        document["sites"][2]["offset_us"] = 70
        document["sites"].append({"id": "mine", "name": "Mine"})

    def by_them(document: Document) -> None:
        document["sites"][2]["offset_us"] = 80
        document["notes"] = "theirs"
        del document["refractivity_n"]

    mine, theirs = edited(example, by_me), edited(example, by_them)
    found = {c.where: c.settled for c in clashes(example, mine, theirs)}
    assert {
        "sites[south].offset_us": "mine",
        "sites[gap].offset_us": "",
        "sites[mine]": "mine",
        "notes": "theirs",
        "refractivity_n": "theirs",
    } == found
    result = merged(example, mine, theirs, {"sites[gap].offset_us": "mine"})
    assert [0, -10, 70] == [s["offset_us"] for s in result["sites"][:3]]
    assert "mine" == result["sites"][3]["id"]
    assert "theirs" == result["notes"]
    assert "refractivity_n" not in result
    assert theirs == merged(example, example, theirs, {})
    assert mine == merged(example, mine, example, {})


def test_removed_here_and_changed_there_is_one_question(example: Document) -> None:
    """A site that one removed and the other changed is asked about as a whole."""
    mine = edited(example, lambda d: d["sites"].pop(2))
    theirs = edited(example, lambda d: d["sites"][2].update(offset_us=61))
    found = clashes(example, mine, theirs)
    assert [("sites[gap]", "")] == [(c.where, c.settled) for c in found]
    assert 2 == len(merged(example, mine, theirs, {"sites[gap]": "mine"})["sites"])
    assert 61 == merged(example, mine, theirs, {"sites[gap]": "theirs"})["sites"][2]["offset_us"]


def test_a_save_without_a_reason_says_what_it_changed(example: Document) -> None:
    """The record names the first changes and counts the rest."""
    changed = edited(example, lambda d: d.update(notes="a", name="b", delta_n=50, service="dab-1"))
    words = in_words(compared(example, changed))
    assert words.startswith("changed ")
    assert words.endswith(" and 1 more")

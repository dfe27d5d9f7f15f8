"""What a form says of ground cover and zones: a folder, and a height or a zone for every class in it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.terrain.census import Census
from webapp.forms.typed import number
from webapp.work.terrains import FOLDER_NAME

NONE = "none"
HEIGHTS, CLASSES = "heights", "classes"
MOST_ROWS = 300
# Empty rows at the end, for classes that were not found.
SPARE_ROWS = 2


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One class as the form shows it."""

    number: str
    """The class, as it was typed."""
    value: str
    """Its height in metres, or its zone."""
    share_pct: float | None
    """Part of the raster that has it; None where it was not found."""
    distance: str = ""
    """How far before a receiver its cover stands, as it was typed; empty for 27 m."""


@dataclass(frozen=True, slots=True)
class SourceTyped:
    """Ground cover, or zones, as they are typed."""

    choice: str
    """``none`` or ``folder NAME``."""
    kind: str
    """``heights``: the raster holds heights in metres; ``classes``: the rows say what they mean."""
    rows: tuple[tuple[str, str], ...]
    """Class and its height or zone, in the order of the form; empty ones are left out."""
    distances: tuple[tuple[str, str], ...] = ()
    """Class, and how far before a receiver its cover stands, where that is said."""

    @property
    def folder(self) -> str:
        """The folder's name; empty for none."""
        return self.choice.partition(" ")[2] if self.choice.startswith("folder ") else ""


def source_typed(form: Mapping[str, str], key: str) -> SourceTyped:
    """What a form says of ``cover`` or ``zones``."""
    rows = (
        (form.get(f"{key}-number-{n}", "").strip(), form.get(f"{key}-value-{n}", "").strip()) for n in range(MOST_ROWS)
    )
    kind = form.get(f"{key}-kind", HEIGHTS) if key == "cover" else CLASSES
    apart = (
        (form.get(f"{key}-number-{n}", "").strip(), form.get(f"{key}-distance-{n}", "").strip())
        for n in range(MOST_ROWS)
    )
    return SourceTyped(
        form.get(key, NONE), kind, tuple(row for row in rows if any(row)), tuple(row for row in apart if row[1])
    )


def source_in(document: Mapping[str, Any], key: str) -> SourceTyped:
    """What a document says of ``cover`` or ``zones``, as a form would send it."""
    held, value = document.get(key), "height_m" if key == "cover" else "zone"
    if not held:
        return SourceTyped(NONE, HEIGHTS if key == "cover" else CLASSES, ())
    classes = held.get("classes")
    rows = tuple((str(c.get("number", "")), str(c.get(value, ""))) for c in classes or ())
    apart = tuple((str(c.get("number", "")), str(c["distance_m"])) for c in classes or () if c.get("distance_m"))
    return SourceTyped(f"folder {held.get('folder', '')}", HEIGHTS if classes is None else CLASSES, rows, apart)


def source_document(typed: SourceTyped, key: str, *, held: Census | None) -> dict[str, Any] | None:
    """The document's ``cover`` or ``zones``; None where there is none.

    Parameters
    ----------
    typed : SourceTyped
    key : {'cover', 'zones'}
    held : Census or None
        What the chosen files hold: each class that occurs must have its row. None: they could not be read.

    Raises
    ------
    PlanError
        If a class that occurs has no height or zone, a row says nothing of its class, or a class stands twice; every
        one is named. Whether a height is in range is for `sfn.plan.read` to say.
    """
    if typed.choice == NONE:
        return None
    if not FOLDER_NAME.fullmatch(typed.folder):
        raise PlanError(
            [Problem(key, f"cannot be {typed.choice!r}", "one of those on offer", code="not-on-offer", fields=(key,))]
        )
    document: dict[str, Any] = {"folder": typed.folder}
    if typed.kind == HEIGHTS:
        return document
    if held is not None and not held.classes and held.least is not None:
        what = f"{typed.folder} holds no classes but values from {held.least:g} to {held.greatest:g}"
        expected = "whole numbers, 128 different ones at most" + ("; or take them as heights" if key == "cover" else "")
        raise PlanError(
            [Problem(f"{key}.classes", what, expected, code="class-line-unreadable", fields=(f"{key}.classes",))]
        )
    value, what = ("height_m", "height in metres") if key == "cover" else ("zone", "zone")
    given = [(number(name), text) for name, text in typed.rows if text]
    named = [name for name, _ in given]
    problems = [
        Problem(
            f"{key}.classes",
            f"class {name} occurs and has no {what}",
            f"a {what} for class {name}",
            code="class-without-value",
            fields=(f"{key}.classes",),
        )
        for name in (held.classes if held else ())
        if name not in named
    ]
    problems += [
        Problem(
            f"{key}.classes",
            f"class {name!r} is no whole number",
            "the number that the raster holds",
            code="class-not-a-number",
            fields=(f"{key}.classes",),
        )
        for name in named
        if not isinstance(name, int)
    ]
    problems += [
        Problem(
            f"{key}.classes",
            f"class {name} is given twice",
            "every class once",
            code="class-given-twice",
            fields=(f"{key}.classes",),
        )
        for name in sorted({n for n in named if isinstance(n, int) and named.count(n) > 1})
    ]
    if not given and not problems:
        problems.append(
            Problem(
                f"{key}.classes",
                "says nothing of any class",
                f"a {what} for every class that occurs",
                code="no-classes",
                fields=(f"{key}.classes",),
            )
        )
    if problems:
        raise PlanError(problems)
    apart = {number(name): number(text) for name, text in typed.distances}
    document["classes"] = [
        {"number": name, value: number(text) if key == "cover" else text}
        | ({"distance_m": apart[name]} if name in apart else {})
        for name, text in given
    ]
    return document


def class_rows(typed: SourceTyped, shares: Iterable[tuple[int, float]]) -> tuple[ClassRow, ...]:
    """The rows that a form shows: every class that occurs, those typed beside them, and two empty ones."""
    left, found, apart = list(typed.rows), [], dict(typed.distances)
    for name, share_pct in shares:
        said = next((row for row in left if row[0] == str(name)), ("", ""))
        if said in left:
            left.remove(said)
        found.append(ClassRow(str(name), said[1], share_pct, apart.get(str(name), "")))
    typed_too = [ClassRow(name, value, None, apart.get(name, "")) for name, value in left]
    return (*found, *typed_too, *(ClassRow("", "", None) for _ in range(SPARE_ROWS)))

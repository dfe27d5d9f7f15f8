"""Each template receives exactly its record: nothing missing, nothing unused."""

from dataclasses import fields

import pytest
from jinja2 import Environment, meta, nodes

import webapp.app  # noqa: F401 - every page with its records
from webapp.config.bundled import folder
from webapp.shell.context import Context
from webapp.shell.render import environment

# By template: dataclass(slots=True) makes each class twice, and the second is the one in use.
RECORDS = list({record.TEMPLATE: record for record in Context.__subclasses__()}.values())
ALWAYS = {"frame", "to", "beside", "static", "leaflet", "OPENAPI", "groups"}


def asked_for(made: Environment, name: str) -> set[str]:
    """Names that a template, and what it extends and includes, takes from outside."""
    source, _, _ = made.loader.get_source(made, name)  # type: ignore[union-attr]
    tree = made.parse(source)
    imports = {name for node in tree.find_all(nodes.FromImport) for name in node.names}
    names = meta.find_undeclared_variables(tree) - imports
    for node in tree.find_all((nodes.Extends, nodes.Include)):
        names |= asked_for(made, node.template.value)  # type: ignore[attr-defined]
    return names


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.TEMPLATE)
def test_template_uses_exactly_its_record(record: type[Context]) -> None:
    """The names a template asks for are the fields of its record, no more and no fewer."""
    given = {f.name for f in fields(record)}  # type: ignore[arg-type]
    asked = asked_for(environment(), record.TEMPLATE) - ALWAYS
    # `network` also opens the network's navigation, so a template need not name it.
    assert given - {"network"} == asked - {"network"}
    assert "network" in given or "network" not in asked


def test_every_template_has_a_record() -> None:
    """No page is shown without a record that says what it receives."""
    whole = folder("templates")
    pages = {str(p.relative_to(whole)) for p in whole.glob("*/*.html") if p.parent.name != "_partials"}
    assert pages == {record.TEMPLATE for record in RECORDS}


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.TEMPLATE)
def test_records_are_frozen_and_described(record: type[Context]) -> None:
    """A record does not change under its template, and has a sentence."""
    assert record.__doc__
    assert record.__dataclass_params__.frozen  # type: ignore[attr-defined]

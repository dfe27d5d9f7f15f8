"""Forms as templates spell them: branches, macros of their own and of others, expressions with HTML's own signs."""

from webapp.shell.form_spelled import fields_of

PARTS = """{% macro rows(kind) %}<label for="row">Row</label><input id="row" name="row-{{ loop.index0 }}">{% endmacro %}
{% macro other() %}<input name="never">{% endmacro %}"""
PAGE = """{% from "_partials/parts.html" import rows %}
<input name="outside">
{# <form method="post" action="{{ to('a.comment') }}"><input name="comment"></form> #}
<form action="{% if all %}{{ to('a.one', network.id) }}{% else %}{{ to('a.two', "x>y") }}{% endif %}" class="c"
  method="post"><input type="hidden" name="csrf_token" value="{{ frame.csrf_token }}">
<label for="why">{% if 1 > 0 %}Why{% else %}Why not{% endif %}</label><textarea id="why" name="why"></textarea>
<label for="at-{{ site.id }}">When <b>exactly</b></label>
<input {% if x %}disabled{% endif %} name="at-{{ site.id }}" id="at-{{ site.id }}" value="{{ '">' ~ x }}">
{{ rows("cover") }}<button name="{{ named }}">x</button><select name='unit'></select>
</form>
<form method="get" action="{{ to('a.asked') }}"><input name="asked"></form>
<form method="post" action="{{ to('a.empty') }}"><button>Go</button>
<input type="hidden" name="csrf_token"></form>"""


def test_every_way_of_spelling_is_read() -> None:
    """By hand: what a person reads in the two templates above."""
    fields = {"why": "", "at-{{ site.id }}": "When", "row-{{ loop.index0 }}": "Row", "unit": ""}
    assert fields_of({"_partials/parts.html": PARTS, "page.html": PAGE}) == {
        "a.one": fields,
        "a.two": fields,
        "a.empty": {},
    }

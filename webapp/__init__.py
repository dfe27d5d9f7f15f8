"""The web application: shows the engine, computes nothing."""

from importlib.util import find_spec

# What the extra `web` brings, by the names it is imported by; a test holds them to pyproject.toml.
NEEDS = tuple(
    (
        "alembic argon2 babel fastapi fpdf itsdangerous jinja2 js_lib_leaflet markdown_it python_multipart segno "
        "sqlalchemy uharfbuzz uvicorn"
    ).split()
)

if missing := [name for name in NEEDS if find_spec(name) is None]:
    raise SystemExit(
        f"webapp: not installed: {', '.join(missing)}; they come with the extra web: pip install 'sfn-delays[web]', "
        "in a checkout pip install --editable '.[web]'"
    )

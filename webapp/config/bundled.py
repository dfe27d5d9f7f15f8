"""Where templates lie: inside an installed wheel, or beside the package in a checkout."""

from pathlib import Path

HERE = Path(__file__).parent.parent


def folder(name: str) -> Path:
    """The folder `name`: in ``webapp/_bundled`` first, else beside the package."""
    inside = HERE / "_bundled" / name
    return inside if inside.is_dir() else HERE.parent / name

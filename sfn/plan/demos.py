"""The demo networks that come with the program. Sites and figures are invented; the terrain is not."""

from pathlib import Path

HERE = Path(__file__).parent.parent


def demo_files() -> tuple[Path, ...]:
    """Their files, by name: inside an installed wheel, or beside the package in a checkout."""
    inside = HERE / "_bundled" / "demo_sites"
    return tuple(sorted((inside if inside.is_dir() else HERE.parent / "demo_sites").glob("*.json")))

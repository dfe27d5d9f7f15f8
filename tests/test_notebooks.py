"""The notebooks of `demo_sites/` and the README's example run, in a kernel of their own."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("path", sorted((ROOT / "demo_sites").glob("*.ipynb")), ids=lambda path: path.stem)
def test_a_notebook_runs(path: Path) -> None:
    """From top to bottom; its own assertions hold, and no cell is kept with what it once printed."""
    notebook = nbformat.read(path, as_version=4)
    assert all(not cell.outputs and cell.execution_count is None for cell in notebook.cells if cell.cell_type == "code")
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(ROOT)}}).execute()
    assert notebook.cells[-1].get("outputs", []) is not None


def test_the_example_of_the_readme_runs(capsys: pytest.CaptureFixture[str]) -> None:
    """At most a dozen lines, as printed there."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"## In a notebook.*?```python\n(.*?)```", text, re.DOTALL)
    assert found is not None
    assert len([line for line in found[1].splitlines() if line.strip()]) <= 12
    exec(compile(found[1], "README.md", "exec"), {})
    out = capsys.readouterr().out
    assert "area_km2" in out
    assert "verdict" in out

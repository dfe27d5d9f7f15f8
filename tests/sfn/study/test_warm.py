"""What compiles the field model beforehand compiles what delays and paths then use."""

import os
import subprocess
import sys
from pathlib import Path

from sfn.propagation import kernels
from sfn.study.warm import compiled, warm


def test_what_is_warm_is_kept_and_known() -> None:
    """After it ran, the largest kernel is kept beside the code, and another process sees it there."""
    warm()
    assert kernels.walk.signatures
    assert compiled()
    asked = [sys.executable, "-c", "from sfn.study.warm import compiled; raise SystemExit(not compiled())"]
    assert subprocess.run(asked, check=False).returncode == 0


def test_nothing_kept_is_known_too(tmp_path: Path) -> None:
    """On a fresh machine nothing is."""
    asked = [sys.executable, "-c", "from sfn.study.warm import compiled; raise SystemExit(compiled())"]
    assert subprocess.run(asked, check=False, env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}).returncode == 0

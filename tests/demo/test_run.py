"""How the demo is started, without what it sets up and plays."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def stub(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    path.chmod(0o755)


def test_a_folder_to_keep_is_meant_from_where_its_user_stands(tmp_path: Path) -> None:
    """Called from elsewhere, also where something else is called `demo`."""
    clone, elsewhere = tmp_path / "a clone", tmp_path / "elsewhere"
    (clone / "demo").mkdir(parents=True)
    shutil.copy(ROOT / "demo" / "run", clone / "demo" / "run")
    stub(clone / "demo" / "environment", "true")
    stub(clone / ".venv" / "bin" / "python", f'exec "{sys.executable}" "$@"')
    for place, word in ((clone, "ours"), (elsewhere, "theirs")):
        (place / "demo").mkdir(parents=True, exist_ok=True)
        (place / "demo" / "__init__.py").touch()
        shown = f"import sys\nfrom pathlib import Path\nprint('{word}', Path.cwd(), sys.argv[1:])\n"
        (place / "demo" / "show.py").write_text(shown, encoding="utf-8")
    done = subprocess.run(
        ["sh", "../a clone/demo/run", "--keep", "kept"],
        cwd=elsewhere, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout == f"ours {elsewhere} ['--keep', 'kept']\n"


def test_a_folder_that_is_there_is_refused_before_the_demo_plays(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "demo.show", "--keep", str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 2 and f"{tmp_path} is there already" in done.stderr

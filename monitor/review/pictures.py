"""Pictures are drawn by matplotlib in a process of its own: it is large and slow to load, and
the daemon must neither hold it in memory nor fall with it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.errors import PictureError

LIMIT_S = 60.0
#: What a drawing module ends with where matplotlib is not installed.
NO_MATPLOTLIB = 3


def draw_in_child(module: str, sheet: Mapping[str, Any], path: Path) -> None:
    """Run `python -m MODULE PATH` with the sheet as JSON on its standard input.

    Raises PictureError where that does not work within a minute, with the reason.
    """
    if not os.access(path.parent, os.W_OK):
        raise PictureError(str(path), "its folder is not there or can't be written", "name another")
    try:
        done = subprocess.run(
            [sys.executable, "-m", module, str(path)],
            input=json.dumps(sheet),
            text=True,
            capture_output=True,
            timeout=LIMIT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise PictureError(str(path), f"no picture ({type(error).__name__})") from error
    if done.returncode == NO_MATPLOTLIB:
        how = f"{Path(sys.prefix) / 'bin' / 'pip'} install matplotlib"
        raise PictureError(str(path), "matplotlib is not installed", how)
    if done.returncode or not path.exists():
        last = (done.stderr.strip().splitlines() or ["no word why"])[-1]
        raise PictureError(str(path), f"no picture: {last}")

"""The shim of shim.c, built where there is a C compiler."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

OFF, ONCE, FOR_GOOD, CUT, TORN = range(5)
SOURCE = Path(__file__).with_name("shim.c")


def build_shim(folder: Path) -> Path | None:
    """The shared object; None without a compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        return None
    built = folder / "shim.so"
    subprocess.run(
        [compiler, "-shared", "-fPIC", "-O1", "-o", str(built), str(SOURCE), "-ldl"], check=True
    )
    return built

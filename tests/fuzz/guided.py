"""python -m tests.fuzz.guided [-runs=N …]: the decoders under atheris (libFuzzer), which steers
its inputs to code not yet reached. `pip install atheris` first; it is no dependency of ours."""

from __future__ import annotations

import sys

try:
    import atheris
except ImportError:
    raise SystemExit("atheris is not installed: `pip install atheris` first") from None

with atheris.instrument_imports(include=["monitor"]):
    from tests.fuzz.targets import decoders, sound

TABLE = list(decoders().items())


def one_input(data: bytes) -> None:
    """The first byte chooses the decoder."""
    if not data:
        return
    name, decode = TABLE[data[0] % len(TABLE)]
    assert sound(decode(data[1:])), name


if __name__ == "__main__":
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()

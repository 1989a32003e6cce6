"""The decoders under atheris (libFuzzer), which steers its inputs to code not yet reached.

    python -m tests.fuzz.guided [-runs=N …]

`pip install atheris` first; it is no dependency of ours. Words are libFuzzer's own, such as
-runs=1000000 -max_len=512; -help=1 lists them.
"""

from __future__ import annotations

import sys
from types import ModuleType

from demo.command import parser_for


def installed() -> ModuleType:
    """The fuzzer. Ends the program with what to do where it is missing."""
    try:
        import atheris  # no dependency of ours
    except ImportError:
        raise SystemExit("atheris is not installed: `pip install atheris` first") from None
    module: ModuleType = atheris
    return module


def fuzz(atheris: ModuleType) -> None:
    """Throw inputs at the decoders until libFuzzer is content; it ends the program."""
    with atheris.instrument_imports(include=["monitor"]):
        from tests.fuzz.targets import decoders, sound  # instrumented only so
    table = list(decoders().items())

    def one_input(data: bytes) -> None:
        """The first byte chooses the decoder."""
        if not data:
            return
        name, decode = table[data[0] % len(table)]
        assert sound(decode(data[1:])), name

    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    if {"-h", "--help"} & set(sys.argv[1:]):
        parser_for("tests.fuzz.guided", __doc__).parse_args()
    fuzz(installed())

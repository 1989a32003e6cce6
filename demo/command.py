"""The command line of a module that `python -m` runs."""

from __future__ import annotations

import argparse
from pathlib import Path


def parser_for(name: str, text: str | None) -> argparse.ArgumentParser:
    """A parser that names the module as it is called and shows its text as it is written."""
    return argparse.ArgumentParser(
        prog=f"python -m {name}",
        description=text,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def whole_number(word: str) -> int:
    """A whole number from 0 on, such as a seed."""
    if not (word.isascii() and word.isdigit()):
        raise argparse.ArgumentTypeError(f"{word!r} is no whole number from 0 on")
    return int(word)


def some_folder(word: str) -> Path:
    """A folder that is there."""
    if not Path(word).is_dir():
        raise argparse.ArgumentTypeError(f"{word} is no folder")
    return Path(word)

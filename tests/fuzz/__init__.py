"""Anything at all through everything that reads: refused by name or read, never a crash.

`python -m tests.fuzz.run --count 1000000` is the long run, `python -m tests.fuzz.guided` the
coverage-guided one (where atheris is installed: `pip install atheris`).
"""

"""A farm without a room folder: its settings, and its book's commands run as a user runs them."""

from __future__ import annotations

from pathlib import Path

from monitor.cli import main
from monitor.store import Reader

SETTINGS = r"""
room: {name: Quarry Lane spawn run, timezone: Europe/London, band_low: 20 C, band_high: 25 C}
channels: none
store: {path: farm.db}
book: {bag_code: '(GO12|SH7)-\d{3}', page_url: "http://bagwatt.local:8765"}
probes: {p-b017: {offset: 0.2 K, calibrated: 2026-02-11}}
"""
STRAINS = "strains: {GO-12: {}, SH-7: {}}\n"
BATCH = (
    "batch", "add", "QL-0309", "GO12-{017..056}", "--strain", "GO-12", "--mass", "2.3",
    "--lot", "GO12-G2-0226/J4:20", "--lot", "GO12-G2-0226/J5:20", "--load", "L31",
    "--position", "lower back:8", "--position", "rest:32", "--racking", "R1/1..5/1..8",
    "--inoculated", "2026-03-09T10:05", "--pace", "40 s", "--person", "Kim",
)  # fmt: skip


class Farm:
    """A settings folder with a store, and what a person types there."""

    def __init__(self, path: Path) -> None:
        self.path = path
        (path / "monitor.yaml").write_text(SETTINGS, encoding="utf-8")
        (path / "strains.yaml").write_text(STRAINS, encoding="utf-8")
        self.db = path / "farm.db"

    def say(self, *words: str, by: str = "Kim") -> int:
        """One command; returns its exit code."""
        return main([*words, "--config", str(self.path), "--by", by])

    def read(self) -> Reader:
        return Reader.open_reader(self.db)

    def rows(self) -> int:
        """How many rows the journal has: nothing half-written means none more."""
        with self.read() as store:
            return len(store.journal_after(0))

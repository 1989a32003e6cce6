"""Exit codes, the same for every command."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """What a command's end means to a script."""

    DONE = 0
    FAILED = 1
    UNUSABLE = 2
    FOUND = 3
    INTERRUPTED = 130


EXIT_CODES = {
    Exit.DONE: "done; nothing wrong",
    Exit.FAILED: "failed while working: the store, a source or a channel",
    Exit.UNUSABLE: "unusable settings, folder or command line; nothing was done",
    Exit.FOUND: "done, and something wants a person (check found a fault, an alarm is unanswered)",
    Exit.INTERRUPTED: "interrupted by Ctrl-C",
}

"""Every error bagwatt raises on purpose, by what the operator must do about it.

BagwattError                  where, what, and what to do next
├── SettingsError             the settings are wrong: mend the file, start again (exit 2)
├── WordError                 the command can't be done as it was typed (exit 2)
├── FolderError               a folder to replay lacks a file or a column (exit 2)
├── BookError                 the grower's book can't take this: nothing was written (exit 2)
├── StoreError                the store can't be opened or written
│   ├── StoreTooNew           written by a newer bagwatt: upgrade the program
│   ├── StoreUnwritable       the disk is full, read-only or failing: a spare is used
│   ├── SpareLost             the spare can't be read back: the watch starts anew without it
│   └── StoreCorrupt          the file is damaged: it is moved aside
├── SourceError               a source can't be reached: it is tried again with back-off
├── FarmError                 the rooms' broker can't be reached, or no room is heard there
├── PictureError              a picture can't be drawn: the words go without it
└── ChannelError              a channel can't be used as it is set up
"""

from __future__ import annotations


class BagwattError(Exception):
    """An error told as where it happened, what is wrong and what to do next."""

    def __init__(self, where: str, what: str, next_step: str = "") -> None:
        self.where = where
        self.what = what
        self.next_step = next_step
        super().__init__(f"{where}: {what}" + (f"; {next_step}" if next_step else ""))


class SettingsError(BagwattError):
    """The settings are wrong; `problems` holds one line for each fault found."""

    def __init__(self, where: str, problems: tuple[str, ...]) -> None:
        self.problems = problems
        many = len(problems) != 1
        count, them = (f"{len(problems)} problems", "them") if many else ("1 problem", "it")
        super().__init__(where, count, f"mend {them} and run `bagwatt check`")


class WordError(BagwattError):
    """A word of the command line can't be taken, or asks for what the settings don't have."""


class FolderError(BagwattError):
    """A folder in the replay format lacks a file or a column."""


class BookError(BagwattError):
    """The book can't take this: an unknown bag, a slot taken, a date that can't be."""


class StoreError(BagwattError):
    """The store can't be opened, read or written."""


class StoreTooNew(StoreError):
    """The store was written by a newer bagwatt than this one."""


class StoreUnwritable(StoreError):
    """The disk under the store takes nothing: full, read-only or failing."""


class SpareLost(StoreError):
    """The store works again, but what its spare took meanwhile can't be read back."""


class StoreCorrupt(StoreError):
    """The store's file is damaged."""


class SourceError(BagwattError):
    """A source of readings can't be reached."""


class FarmError(BagwattError):
    """The broker where rooms tell how they stand can't be reached, or no room is heard there."""


class PictureError(BagwattError):
    """A picture can't be drawn."""


class ChannelError(BagwattError):
    """A channel can't be used as it is set up."""

"""The golden texts of the night; `python -m tests.night.golden` writes them anew."""

from __future__ import annotations

from pathlib import Path

from demo.command import parser_for
from monitor.review.night import review_night
from monitor.review.night_nouns import NightData
from monitor.review.night_words import night_message, night_text
from tests.night.room import ZONE
from tests.night.samples import in_summer_time, night_data

GOLDEN = Path(__file__).resolve().parent.parent / "golden"
ROOM = "Quarry Lane spawn run"


def pages(data: NightData) -> dict[str, str]:
    """Each golden file's name and text."""
    night = review_night(data)
    heading, body = night_message(night, ROOM, "C", ZONE)
    return {
        "night_c.txt": night_text(night, ROOM, "C", ZONE),
        "night_f.txt": night_text(night, ROOM, "F", ZONE),
        "night_summer_time.txt": night_text(review_night(in_summer_time(data)), ROOM, "C", ZONE),
        "night_message.txt": f"{heading}\n\n{body}",
    }


if __name__ == "__main__":
    parser_for("tests.night.golden", __doc__).parse_args()
    for name, text in pages(night_data()).items():
        (GOLDEN / name).write_text(text + "\n", encoding="utf-8")

"""An invented season at Quarry Lane: 600 bags of five strains in fifteen sessions.

`season(seed)` has one bad jar of spawn and one bad corner of a steriliser load;
`season(seed, causes=False)` has background loss only.
"""

from __future__ import annotations

from random import Random

from monitor.review.records import CONTAMINATED_MAYBE, CONTAMINATED_SURELY, HEALTHY, BagRecord

DAY_S = 86400.0
FIRST_S = 1_767_600_000.0  # 2026-01-05T08:00:00Z, a Monday
STRAINS = ("GO-12", "AM-3", "SH-7", "PI-2", "HX-5")
CORNERS = ("front low", "front high", "back low", "back high", "middle")
PEOPLE = ("Ida", "Tom", "Wen")
BACKGROUND = 0.025
BAD_RATE = 0.85
BAD_SESSION, BAD_JAR_NUMBER = 6, 3
BAD_LOAD_SESSION, BAD_CORNER = 10, "back low"
BAGS_PER_SESSION, BAGS_PER_JAR = 40, 8


def bad_jar() -> str:
    return jar(BAD_SESSION, BAD_JAR_NUMBER)


def jar(session: int, number: int) -> str:
    strain = STRAINS[session % len(STRAINS)].replace("-", "")
    return f"{strain}-G2-{session + 1:02d}-J{number}"


def load(session: int) -> str:
    return f"L{session + 1}"


def season(seed: int, causes: bool = True, sessions: int = 15) -> list[BagRecord]:
    """Records of the whole season; sequence runs jar by jar, corners are shuffled over it."""
    dice = Random(seed)
    records = []
    for session in range(sessions):
        strain = STRAINS[session % len(STRAINS)]
        corners = [CORNERS[i % len(CORNERS)] for i in range(BAGS_PER_SESSION)]
        dice.shuffle(corners)
        person = dice.choice(PEOPLE)
        for index in range(BAGS_PER_SESSION):
            lot = jar(session, index // BAGS_PER_JAR + 1)
            bad = causes and lot == bad_jar()
            bad |= causes and session == BAD_LOAD_SESSION and corners[index] == BAD_CORNER
            lost = dice.random() < (BAD_RATE if bad else BACKGROUND)
            sure = CONTAMINATED_SURELY if dice.random() < 0.7 else CONTAMINATED_MAYBE
            inoculated_s = FIRST_S + 7 * DAY_S * session + 90.0 * index
            records.append(
                BagRecord(
                    bag=f"{strain.replace('-', '')}-{session * BAGS_PER_SESSION + index + 1:03d}",
                    batch=f"QL-{session + 1:02d}",
                    strain=strain,
                    spawn_lot=lot,
                    spawn_parents=(f"{strain.replace('-', '')}-G1-{session % 3 + 1}",),
                    inoculated_s=inoculated_s,
                    mass_kg=2.3,
                    rack=f"R{session % 3 + 1}",
                    shelf=dice.randint(1, 4),
                    slot=index % 10 + 1,
                    load=load(session),
                    load_position=corners[index],
                    session=f"S{session + 1}",
                    sequence=index + 1,
                    person=person,
                    recipe="beech 20 % bran" if session % 2 else "oak 15 % bran",
                    supplier="Ash Mill" if session < 9 else "Low Wood",
                    outcome=sure if lost else HEALTHY,
                    outcome_s=inoculated_s + (8 if lost else 20) * DAY_S,
                    standing=False,
                )
            )
    return records

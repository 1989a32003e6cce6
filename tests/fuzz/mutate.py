"""Seeds, and the ways to spoil them; the same seed of chance spoils them the same."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from functools import cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

JSON = (
    b'{"t": 23.4, "u": "Cel", "at": 1795593600, "id": "p-b017", "a": [71]}',
    b'{"t": 73.1, "u": "degF", "at": "2026-11-25T08:00:00Z", "a": [45.5, 1]}',
)
SENML = (
    b'[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1.795e9,"bu":"Cel","n":"t","v":23.1},'
    b'{"n":"h","u":"%RH","v":71}]',
    b'[{"n":"p1","u":"Cel","v":21.5,"t":-5},{"n":"p2","vb":true},{"n":"p3","vs":"x"}]',
)
#: Sound and nearly sound inputs by the decoder they are meant for.
KNOWN = {
    "number": (b"23.44", b"-5", b"1e3", b"nan", b"Infinity", b"21,5", b"21.5 C", b"true", b"null"),
    "json": JSON,
    "senml": SENML,
    "senml humidity": SENML,
    "line": (b"p1 21.5", b"p-b031 23.44", b" 1"),
    "line nmea": (b"23.44*1F", b"$23.44*1F", b"23.44*00"),
    "line crc16": (b"23.44*0000", b"23.44*5A"),
    "line json": (*JSON, b'{"id":"x","t":1}'),
}
#: What hurts decoders: brackets, halves of characters, numbers beyond measure, wrong times.
TOKENS = (
    *(b"{", b"}", b"[", b"]", b'"', b",", b":", b"*", b"\n", b"\r", b"\x00", b"\xff", b"\xc3"),
    *(b"\\u0000", b"\\ud800", b"\xe2\x80\xae", b"e999", b"-0", b"1" * 400, b"NaN", b"1e-400"),
    *(b"9" * 20, b"[" * 60, b'{"t":' * 30, b'"t":1,', b'"at":"2026-02-30T25:61:00Z",'),
    *(b'"at":1e300,', b'"u":"K",', b"true", b"null"),
)
MOST_BYTES = 6000


@cache
def drawn_by_hypothesis(count: int) -> tuple[bytes, ...]:
    """JSON of every shape with the keys the decoders look for."""
    scalars = st.one_of(
        st.none(), st.booleans(), st.floats(), st.integers(-(10**400), 10**400), st.text(max_size=8)
    )
    keys = st.sampled_from(
        ["t", "u", "at", "id", "a", "n", "v", "bn", "bt", "bu", "bv", "bver", "s"]
    )
    values = st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=6),
        max_leaves=10,
    )
    found: list[bytes] = []

    @settings(
        max_examples=count, database=None, derandomize=True, deadline=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(values)
    def draw(value: object) -> None:
        found.append(json.dumps(value).encode())

    draw()
    return tuple(found)


class Mutator:
    """Spoils seeds by a few random edits, and keeps some of what it made as new seeds."""

    def __init__(self, seed: int, favoured: Sequence[bytes], others: Sequence[bytes] = ()) -> None:
        """Every second input comes of a `favoured` seed."""
        self._chance = random.Random(seed)
        self._favoured = tuple(favoured)
        self._seeds = [*favoured, *others]
        self._first = len(self._seeds)

    def next(self) -> bytes:
        chance = self._chance
        data = bytearray(chance.choice(self._favoured if chance.random() < 0.5 else self._seeds))
        for _ in range(chance.choice((0, 1, 1, 2, 3, 6))):
            self._edit(data)
        made = bytes(data[:MOST_BYTES])
        if chance.random() < 0.02:
            self._remember(made)
        return made

    def _edit(self, data: bytearray) -> None:
        chance = self._chance
        at = chance.randint(0, len(data))
        match chance.randrange(7):
            case 0 if data:
                data[at % len(data)] ^= 1 << chance.randrange(8)
            case 1 if data:
                data[at % len(data)] = chance.randrange(256)
            case 2:
                data[at:at] = chance.choice(TOKENS)
            case 3:
                del data[at : at + chance.randint(1, 12)]
            case 4:
                data[at:at] = data[: chance.randint(0, 60)]
            case 5:
                other = chance.choice(self._seeds)
                data[at:] = other[chance.randint(0, len(other)) :]
            case _:
                data[at:at] = str(chance.choice((0, 85, 127.94, -127, 1e308, 2**63))).encode()

    def _remember(self, made: bytes) -> None:
        """A bounded pool: a new one replaces an old one that was made, never a first seed."""
        if len(self._seeds) < self._first + 2000:
            self._seeds.append(made)
        else:
            self._seeds[self._chance.randrange(self._first, len(self._seeds))] = made

"""Codes as people write and mistype them: ranges, short forms, slips with a suggestion."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence

from monitor.errors import BookError
from monitor.words.quantities import counted

MOST_CODES = 2000
_RANGE = re.compile(r"(.*)\{(\d+)\.\.(\d+)\}(.*)")
_TAIL = re.compile(r"(.*?)(\d+)(\D*)")
#: What a hand or a scanner takes for one another.
_LOOK_ALIKE = str.maketrans({"o": "0", "l": "1", "i": "1", "_": "-", " ": "", "–": "-"})


def expand(words: Iterable[str]) -> list[str]:
    """Codes out of words such as `GO12-{017..056}`; one without braces stands for itself.

    Digits keep their width. Raises BookError for an empty or backward range, a code named
    twice, or more than 2000 codes.
    """
    codes: list[str] = []
    for word in words:
        found = _RANGE.fullmatch(word)
        if found is None:
            codes.append(word)
            continue
        head, first, last, tail = found.groups()
        count = int(last) - int(first) + 1
        if count < 1:
            raise BookError(word, "the range runs backward", f"write {head}{{{last}..{first}}}")
        _not_too_many(word, count)
        width = len(first)
        codes += [f"{head}{int(first) + step:0{width}d}{tail}" for step in range(count)]
    _not_too_many("codes", len(codes))
    twice = sorted({code for code in codes if codes.count(code) > 1}) if len(codes) < 500 else []
    if twice or len(set(codes)) != len(codes):
        raise BookError(", ".join(twice[:5]) or "codes", "named twice", "name each bag once")
    return codes


def count_on(first: str, count: int) -> list[str]:
    """`count` codes from the first on: the last number in it is counted up, its width kept."""
    found = _TAIL.fullmatch(first)
    if found is None:
        raise BookError(first, "has no number to count on from", "write AB-{01..40} instead")
    _not_too_many(first, count)
    head, digits, tail = found.groups()
    return [f"{head}{int(digits) + step:0{len(digits)}d}{tail}" for step in range(count)]


def in_runs(codes: Sequence[str]) -> list[list[str]]:
    """The codes in their order, those that count on from one another together."""
    runs: list[list[str]] = []
    for code in codes:
        if runs and _TAIL.fullmatch(runs[-1][-1]) and count_on(runs[-1][-1], 2)[1] == code:
            runs[-1].append(code)
        else:
            runs.append([code])
    return runs


def _not_too_many(where: str, count: int) -> None:
    if count > MOST_CODES:
        raise BookError(where, f"{count} codes at once", f"enter at most {MOST_CODES} at a time")


def resolve(typed: str, known: Collection[str], what: str = "bag") -> str:
    """The code that is meant: exact, in another case, or by its own end such as `017`.

    Raises BookError with a suggestion where it is none of `known` or more than one.
    """
    word = typed.strip()
    if word in known:
        return word
    same = [code for code in known if code.casefold() == word.casefold()]
    ends = [code for code in known if _ends_with(code, word)] if word.isdecimal() else []
    for found in (same, ends):
        if len(found) == 1:
            return found[0]
        if found:
            some = ", ".join(sorted(found)[:4])
            raise BookError(typed, f"could be any of {len(found)} ({some})", "write more of it")
    by_end = {end[2]: code for code in known if (end := _TAIL.fullmatch(code))}
    hint = suggestion(word, known)
    if not hint and word.isdecimal() and suggestion(word, by_end):
        hint = f"the nearest ends are {', '.join(_nearest(word, by_end))}"
    told = f"no such {what} in the book"
    raise BookError(typed or "''", told, hint or f"`bagwatt {what} list` shows what there is")


def _ends_with(code: str, digits: str) -> bool:
    """Whether the last number of a code is these digits, leading zeros aside."""
    found = _TAIL.fullmatch(code)
    return found is not None and int(found[2]) == int(digits)


def suggestion(word: str, known: Iterable[str]) -> str:
    """`did you mean …?` for the nearest known codes, by slips of the hand; else empty."""
    best = _nearest(word, known)
    return f"did you mean {' or '.join(best)}?" if best else ""


def _nearest(word: str, known: Iterable[str]) -> list[str]:
    """Up to three codes within a slip or two; of equals those with the same letters first."""
    plain = _plain(word)
    ranked = sorted(
        (slips(plain, _plain(code)), sorted(plain) != sorted(_plain(code)), code) for code in known
    )
    most = 1 if len(plain) < 6 else 2
    if not ranked or ranked[0][0] > most:
        return []
    return [code for *rank, code in ranked if rank == list(ranked[0][:2])][:3]


def _plain(word: str) -> str:
    return word.casefold().translate(_LOOK_ALIKE)


def slips(left: Sequence[str], right: Sequence[str]) -> int:
    """Letters left out, put in, taken for another, or two neighbours swapped, between two words.

    Source  optimal string alignment distance (Damerau 1964; restricted edit distance)
    """
    if abs(len(left) - len(right)) > 3:
        return abs(len(left) - len(right))
    before: list[int] = []
    row = list(range(len(right) + 1))
    for i, one in enumerate(left, start=1):
        before, above, row = row, before, [i]
        for j, other in enumerate(right, start=1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (one != other))
            if i > 1 and j > 1 and one == right[j - 2] and left[i - 2] == other:
                cost = min(cost, above[j - 2] + 1)
            row.append(cost)
    return row[-1]


def check_pattern(code: str, pattern: str, known: Collection[str] = ()) -> None:
    """Refuse a code that is not of the farm's own pattern (a regular expression).

    Raises BookError that says what the code could have been.
    """
    if not pattern:
        if not re.fullmatch(r"[^\s/,;:{}]{1,64}", code):
            raise BookError(
                code, "is no code", "use letters, digits, `-` and `.`, up to 64, without blanks"
            )
        return
    if re.fullmatch(pattern, code):
        return
    example = next((one for one in sorted(known) if re.fullmatch(pattern, one)), "")
    hint = _mended(code, pattern) or suggestion(code, known)
    like = f"codes look like {example}" if example else f"book.bag_code is {pattern}"
    raise BookError(code, f"is not of the farm's pattern; {like}", hint)


def _mended(code: str, pattern: str) -> str:
    """A form of the code that fits the pattern: capitals, look-alikes, neighbours swapped."""
    upper = code.upper()
    tries = [upper, upper.replace("O", "0"), upper.replace("_", "-"), upper.replace(" ", "-")]
    tries += [upper.replace("I", "1").replace("L", "1")]
    tries += [
        upper[:at] + upper[at + 1] + upper[at] + upper[at + 2 :] for at in range(len(upper) - 1)
    ]
    tries += [upper[:at] + "-" + upper[at:] for at in range(1, len(upper))]
    fits = next((one for one in tries if re.fullmatch(pattern, one)), "")
    return f"did you mean {fits}?" if fits else ""


def shares(words: Sequence[str], codes: Sequence[str], what: str) -> list[str]:
    """For each code which of `NAME`, `NAME:COUNT` or `NAME:FIRST..LAST` it falls under.

    A bare NAME takes all, `NAME:8` the next eight in order, a range the codes (or their last
    numbers) named. Raises BookError where one is left out or claimed twice.
    """
    owner: dict[str, str] = {}
    at = 0
    for word in words:
        name, _, part = word.partition(":")
        if not part:
            chosen = list(codes)
        elif part.isdecimal():
            chosen = list(codes[at : at + int(part)])
            if len(chosen) < int(part):
                left = counted(len(chosen), "bag is", "bags are")
                raise BookError(word, f"only {left} left for it", _counts(codes))
        else:
            first, dots, last = part.partition("..")
            if not dots:
                hint = f"write {name}:8 or {name}:01..08"
                raise BookError(word, f"can't be read as a {what}", hint)
            start = codes.index(resolve(first, codes))
            chosen = list(codes[start : codes.index(resolve(last, codes)) + 1])
        for code in chosen:
            if code in owner:
                raise BookError(word, f"{code} is from {owner[code]} already", "mend the ranges")
            owner[code] = name
        at += len(chosen)
    left_out = [code for code in codes if words and code not in owner]
    if left_out:
        what_left = f"{left_out[0]} has no {what}"
        if len(left_out) > 1:
            what_left = f"{len(left_out)} bags have no {what}: {left_out[0]} to {left_out[-1]}"
        raise BookError(f"--{what}", what_left, _counts(codes))
    return [owner.get(code, "") for code in codes]


def _counts(codes: Sequence[str]) -> str:
    if len(codes) == 1:
        return f"there is one bag, {codes[0]}"
    return f"there are {len(codes)} bags, {codes[0]} to {codes[-1]}"

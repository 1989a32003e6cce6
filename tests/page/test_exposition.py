"""The text of numbers is read back by another's parser as what was written."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families

from monitor.page.exposition import Family, Sample, exposition, one

ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
NUMBERS = st.floats(allow_nan=False)


def read(text: str) -> dict[tuple[str, str], float]:
    """(name, label `of`): value."""
    return {
        (sample.name, sample.labels.get("of", "")): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


@settings(deadline=None, database=None, derandomize=True, max_examples=300)
@given(st.dictionaries(ANY_TEXT, NUMBERS, max_size=6), ANY_TEXT)
def test_whatever_stands_in_labels_and_help_comes_back_as_it_was(
    values: dict[str, float], about: str
) -> None:
    """Quotes, backslashes, line ends, umlauts; infinite and huge numbers."""
    samples = tuple(Sample(value, {"of": label}) for label, value in values.items())
    text = exposition([Family("bagwatt_waiting", "gauge", about, samples)])
    assert read(text) == {("bagwatt_waiting", label): value for label, value in values.items()}


def test_text_is_as_the_format_says() -> None:
    """Prometheus text format 0.0.4: HELP, TYPE, then a line for each value."""
    text = exposition(
        [
            Family("rooms_total", "counter", 'a "quoted"\\\nhelp', one(3, of='a "b"\\c\nd')),
            Family("nothing", "gauge", "not told", one(None)),
            Family("warmth", "gauge", "bare", one(21.5)),
        ]
    )
    assert text == (
        '# HELP rooms_total a "quoted"\\\\\\nhelp\n# TYPE rooms_total counter\n'
        'rooms_total{of="a \\"b\\"\\\\c\\nd"} 3\n'
        "# HELP warmth bare\n# TYPE warmth gauge\nwarmth 21.5\n"
    )


def test_numbers_that_are_none_are_written_as_the_format_names_them() -> None:
    samples = tuple(
        Sample(value, {"of": str(index)})
        for index, value in enumerate((math.nan, math.inf, -math.inf, 2.0**60))
    )
    text = exposition([Family("odd", "gauge", "odd", samples)])
    assert [line.split()[-1] for line in text.splitlines()[2:]] == [
        "NaN", "+Inf", "-Inf", repr(2.0**60),
    ]  # fmt: skip


def test_lone_surrogate_of_a_bad_name_does_not_stop_the_answer() -> None:
    text = exposition([Family("odd", "gauge", "odd", one(1, of="a\ud800b"))])
    assert read(text) == {("odd", "a?b"): 1.0}


@pytest.mark.parametrize(
    "wrong",
    [
        ("a-b", "gauge", ()),
        ("sum_total", "gauge", ()),
        ("sum", "counter", ()),
        ("sum", "gauge", one(1, __own="x")),
        ("sum", "gauge", (*one(1, of="x"), *one(2, of="x"))),
    ],
    ids=["name", "gauge called total", "counter not called total", "label", "twice"],
)
def test_family_that_no_reader_would_take_is_our_own_fault(wrong: tuple[str, str, object]) -> None:
    name, kind, samples = wrong
    with pytest.raises(AssertionError):
        Family(name, kind, "help", samples)  # type: ignore[arg-type]

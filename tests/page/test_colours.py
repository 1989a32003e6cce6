"""The scale of warmth: right colours, readable inks, even steps."""

from __future__ import annotations

import pytest

from monitor.page.colours import (
    STEPS,
    contrast,
    hexed,
    oklab_to_rgb,
    step_of,
    stylesheet,
    tone,
)

ALL = range(-STEPS, STEPS + 1)


@pytest.mark.parametrize(
    ("oklab", "rgb"),
    [
        ((1.0, 0.0, 0.0), (255, 255, 255)),
        ((0.0, 0.0, 0.0), (0, 0, 0)),
        ((0.62796, 0.22486, 0.12585), (255, 0, 0)),
        ((0.45201, -0.03246, -0.31153), (0, 0, 255)),
        ((0.51975, -0.1403, 0.10768), (0, 128, 0)),
    ],
)
def test_oklab_gives_the_published_colours(
    oklab: tuple[float, float, float], rgb: tuple[int, int, int]
) -> None:
    """White, black, red, blue and green as in CSS Color 4, section 9.4 and its tests."""
    assert oklab_to_rgb(*oklab) == rgb


def test_contrast_is_that_of_wcag() -> None:
    """WCAG 2.2: black on white is 21; #767676 is the palest grey that reaches 4.5 on white."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((0x76,) * 3, (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("step", ALL)
def test_every_ink_is_readable_on_its_ground(step: int) -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 for small text."""
    one = tone(step)
    assert contrast(one.ink, one.ground) >= 4.5


def test_every_ground_stands_out_from_the_page() -> None:
    """WCAG 2.2, 1.4.11 asks for 3 where colour carries meaning; number, shape and word carry it
    here, so that the calm middle may lie nearer to the dark."""
    dark = (0x17, 0x12, 0x0D)
    assert all(contrast(tone(step).ground, dark) >= 3.0 for step in ALL if abs(step) >= 2)
    assert contrast(tone(0).ground, dark) >= 1.9


@pytest.mark.parametrize(
    ("excess_k", "step"), [(0.0, 0), (0.2, 0), (-0.5, -1), (1.5, 2), (3.0, 5), (9.0, 5), (-9, -5)]
)
def test_step_grows_with_the_excess_and_ends(excess_k: float, step: int) -> None:
    assert step_of(excess_k) == step


def test_stylesheet_has_every_step() -> None:
    text = stylesheet()
    assert all(f".w{step}{{--ground:{hexed(tone(step).ground)}" in text for step in ALL)

"""The page's tables as the screen shows them."""

from __future__ import annotations

from playwright.sync_api import Page

#: What a phone of today shows, a tablet held upright, and a screen on a desk.
TALL_PHONE = {"width": 390, "height": 844}
TABLET = {"width": 768, "height": 1024}
DESK = {"width": 1280, "height": 800}

_CUT = """() => {
  document.querySelectorAll("details").forEach((one) => { one.open = true; });
  return [...document.querySelectorAll("table")].filter((table) => {
    const box = table.parentElement.getBoundingClientRect();
    return [...table.querySelectorAll("th, td")].some((cell) => {
      const words = document.createRange();
      words.selectNodeContents(cell);
      const right = Math.max(words.getBoundingClientRect().right,
        cell.getBoundingClientRect().right);
      return right > Math.min(box.right, innerWidth) + 1;
    });
  }).map((table) => table.parentElement.getAttribute("aria-label")); }"""

_UNEVEN = """() => [...document.querySelectorAll(".worded table")].flatMap((table) => {
  const [names, ...rows] = [...table.rows].map((row) => [...row.cells]);
  const top = (cell) => Math.round(cell.getBoundingClientRect().top);
  return rows.flatMap((row) => row.filter((cell, i) => top(cell) !== top(names[i])))
    .map((cell) => cell.textContent); })"""


def cut_tables(page: Page) -> list[str]:
    """Tables of which something lies beyond the right end of the screen, folded ones opened."""
    found: list[str] = page.evaluate(_CUT)
    return found


def uneven_figures(page: Page) -> list[str]:
    """Figures that don't stand level with their name, where a phone shows rows as columns."""
    found: list[str] = page.evaluate(_UNEVEN)
    return found

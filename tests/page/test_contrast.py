"""Every pair of colours in use against WCAG 2.2, by the W3C's own formula."""

import re
from importlib.resources import files

import pytest

CSS = files("beepwatch.page").joinpath("static", "page.css").read_text("utf-8")
PAIRS = [
    ("text", "ground"), ("quiet", "ground"), ("line", "ground"), ("button-text", "button"), ("button-text", "ground"),
    ("alarm-text", "alarm"), ("go-text", "go"), ("lost-text", "lost"), ("paused-text", "paused"),
    ("answered-text", "answered"),
]  # fmt: skip
EDGES = [("edge", "ground"), ("focus", "ground"), ("line", "ground"), ("alarm-text", "alarm"), ("lost-text", "lost")]
"""Borders, focus marks and the trace: 3:1 (WCAG 2.2, 1.4.11)."""


def colours(scheme: str) -> dict[str, str]:
    """The colours of a scheme, by name."""
    root, bright = re.findall(r":root(?:\[data-light=\"bright\"\])? \{(.*?)\}", CSS, re.DOTALL)[:2]
    found = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", root))
    return found | (dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", bright)) if scheme == "bright" else {})


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition; with the threshold 0.04045 of the sRGB standard)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """(L1 + 0.05) / (L2 + 0.05), the lighter first."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_is_the_w3cs() -> None:
    """Black on white is 21, a colour on itself 1, and #767676 on white the well-known 4.54."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", ["dim", "bright"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_text_can_be_read(scheme: str, text: str, ground: str) -> None:
    """4.5:1 (1.4.3), the dim colours too."""
    found = colours(scheme)
    assert contrast(found[text], found[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["dim", "bright"])
@pytest.mark.parametrize(("mark", "ground"), EDGES)
def test_edges_can_be_seen(scheme: str, mark: str, ground: str) -> None:
    """3:1."""
    found = colours(scheme)
    assert contrast(found[mark], found[ground]) >= 3


@pytest.mark.parametrize(("text", "ground"), [("alarm-text", "alarm"), ("go-text", "go"), ("lost-text", "lost")])
def test_what_must_wake_has_more(text: str, ground: str) -> None:
    """7:1 (1.4.6) for the alarm, its button, and NOT LISTENING."""
    found = colours("dim")
    assert contrast(found[text], found[ground]) >= 7


def test_the_views_have_the_same_bright_colours() -> None:
    """Where the phone itself is bright; beyond that they name no colour."""
    views = files("beepwatch.page").joinpath("static", "views.css").read_text("utf-8")
    (table,) = re.findall(r":root\[data-view\] \{(.*?)\}", views, re.DOTALL)
    (theirs,) = re.findall(r":root\[data-light=\"bright\"\] \{(.*?)\}", CSS, re.DOTALL)[:1]
    assert dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", table)) == dict(
        re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", theirs)
    )
    assert re.findall(r"#[0-9a-f]{3,8};", views.replace(table, "")) == []


@pytest.mark.parametrize("scheme", ["dim", "bright"])
def test_the_picture_of_the_nights_can_be_read(scheme: str) -> None:
    """3:1 (1.4.11): what was listened to on the ground, alarms and pauses on it and beside it."""
    found = colours(scheme)
    for one, other in (("edge", "ground"), ("button-text", "edge"), ("text", "ground"), ("button-text", "ground")):
        assert contrast(found[one], found[other]) >= 3


def test_at_rest_it_is_dim() -> None:
    """Black ground, and no colour that stands at rest lighter than half of white."""
    found = colours("dim")
    assert found["ground"] == "#000000"
    assert all(luminance(found[name]) < 0.5 for name in ("text", "quiet", "line", "edge"))


def test_no_colour_is_outside_the_tables() -> None:
    """Every colour is a named one, so that no pair escapes the tests above."""
    body = re.sub(r":root[^{]*\{.*?\}", "", CSS, flags=re.DOTALL)
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", re.sub(r"#[a-z-]+[ ,{:\[.]", "", body)) == []

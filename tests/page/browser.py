"""A real browser, phone-sized, and axe-core from the npm registry."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.npm import package
from tests.page.house import House

CHROMIUM = "/usr/bin/chromium"
AXE = "4.14.1"
SOON = 15_000
"""ms to wait for the page on a busy machine."""


def lacking(what: str) -> None:
    """Skip with the reason; never in CI."""
    assert os.environ.get("CI") != "true", what
    pytest.skip(what)


@contextmanager
def chromium(
    env: dict[str, str] | None = None, *, sound: bool = False, executable: Path | None = None
) -> Iterator[Browser]:
    """The browser; sound: it may be heard; executable: it, in another place."""
    if not Path(CHROMIUM).exists():
        lacking(f"no browser: {CHROMIUM} is missing")
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(
            executable_path=executable or CHROMIUM, args=["--no-sandbox"], env={**os.environ, **(env or {})},
            ignore_default_args=["--mute-audio"] if sound else None,
        )  # fmt: skip
        try:
            yield made
        finally:
            made.close()


def phone(
    browser: Browser,
    *,
    motion: Literal["reduce", "no-preference"] = "no-preference",
    width: int = 390,
    height: int = 844,
    bypass: bool = False,
) -> BrowserContext:
    """A phone's browser with nothing in it. bypass: lets axe-core in through the content security policy."""
    made = browser.new_context(
        ignore_https_errors=True, viewport={"width": width, "height": height}, has_touch=True, is_mobile=True,
        reduced_motion=motion, bypass_csp=bypass,
    )  # fmt: skip
    made.set_default_timeout(SOON)
    return made


def paired(context: BrowserContext, house: House, name: str = "Anna", *, unlock: bool = True) -> Page:
    """Pair as a person does: open the link of the QR code, type a name, press; then the one tap."""
    page = context.new_page()
    page.goto(f"{house.url('/pair')}#{house.code()}")
    page.fill("#name", name)
    page.click("button[type=submit]")
    page.wait_for_url(house.url("/"))
    expect(page.locator("#line")).not_to_have_text("Waiting", timeout=SOON)
    if unlock:
        page.click("#unlock-now")
        expect(page.locator("#phone")).to_contain_text("Sound is on", timeout=SOON)
    return page


def axe() -> str:
    """The source of axe-core, from its npm package."""
    folder = package("axe-core", AXE) / "node_modules" / "axe-core"
    return (folder / "axe.min.js").read_text("utf-8")


def findings(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.0 to 2.2, levels A and AA, and its best practices."""
    page.add_script_tag(content=axe())
    found = page.evaluate(
        "() => axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
        ".then(r => r.violations.map(v => v.id + ': '"
        " + v.nodes.map(n => n.target + ' ' + n.failureSummary).join('; ')))"
    )
    assert isinstance(found, list)
    return [str(one) for one in found]

"""A real browser at the desk: Debian's Chromium, at the width of a phone and of a desk."""

from __future__ import annotations

import shutil
import sys
from contextlib import suppress
from pathlib import Path

from desk_work import PASSWORD, Server
from places import REPOSITORY
from playwright.sync_api import Browser, BrowserContext, Page, Playwright
from playwright.sync_api import TimeoutError as PlaywrightTimeout

sys.path.insert(0, str(REPOSITORY / "tests" / "outside"))

SIZES = {"phone": (390, 844), "desk": (1280, 800)}


def chromium(playwright: Playwright) -> Browser:
    """The system's Chromium; `tools/system chromium` installs it."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "Chromium is missing; `make test` installs it."
    return playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])


def context_of(browser: Browser, size: str) -> BrowserContext:
    """A browser of its own, as on a phone or on a desk."""
    width, height = SIZES[size]
    phone = size == "phone"
    return browser.new_context(
        viewport={"width": width, "height": height}, is_mobile=phone, has_touch=phone, accept_downloads=True
    )


def page_at(browser: Browser, server: Server, size: str, name: str) -> Page:
    """The desk as somebody logged in sees it. `done` tells what its scripts throw and what the policy keeps
    out."""
    page = context_of(browser, size).new_page()
    page.set_default_timeout(20_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "console", lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None
    )
    page.faults = faults  # type: ignore[attr-defined]
    log_in(page, server.address, name)
    return page


def done(page: Page) -> None:
    """Closes a page of `page_at`, which has had no fault."""
    assert page.faults == [], page.faults  # type: ignore[attr-defined]
    page.context.close()


def log_in(page: Page, address: str, name: str) -> None:
    """Logs in by keys alone."""
    page.goto(f"{address}/log-in")
    page.wait_for_function("document.activeElement.id === 'name'")
    page.keyboard.type(name)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/drafts")


class Keys:
    """Presses keys and counts them; typing a password counts apart, since that is the person's own."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.pressed: list[str] = []
        self.typed = 0

    def press(self, key: str) -> None:
        """One key, as a person presses it: not before something on the page can take it."""
        self.pressed.append(key)
        with suppress(PlaywrightTimeout):
            self.page.wait_for_function("document.activeElement !== document.body", timeout=2_000)
        self.page.keyboard.press(key)

    def password(self) -> None:
        """The password, where it is asked for."""
        assert self.page.evaluate("document.activeElement.id") == "password"
        self.page.keyboard.type(PASSWORD)
        self.typed += len(PASSWORD)


def tab_to(page: Page, selector: str, most: int = 120) -> None:
    """Goes to an element with the Tab key alone."""
    for _ in range(most):
        if page.evaluate(f"document.activeElement.matches({selector!r})"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} can't be reached with the Tab key on {page.url}")


def choose_by_key(page: Page, file: Path, tries: int = 5) -> None:
    """Opens the file chooser of the element in focus with a key, and chooses a file. A browser on a busy
    machine now and then lets the first press pass."""
    for left in reversed(range(tries)):
        try:
            with page.expect_file_chooser(timeout=5_000) as chooser:
                page.keyboard.press("Enter")
        except PlaywrightTimeout:
            if not left:
                raise
        else:
            chooser.value.set_files(file)
            return


def axe() -> Path:
    """The axe-core script, fetched if it is not there yet."""
    import fetch_axe

    return fetch_axe.fetch()


def violations(page: Page, script: Path) -> list[str]:
    """What axe-core finds against WCAG 2.0 to 2.2, A and AA, a line each."""
    if not page.evaluate("typeof window.axe === 'object'"):
        page.evaluate(script.read_text(encoding="utf-8"))
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", tags)
    assert len(found["passes"]) > 5
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary'][:200]}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]

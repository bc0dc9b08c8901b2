"""A real browser, Debian's Chromium: pages are opened as a phone, a desk and a printer show them."""

import base64
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pypdf import PdfReader
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

PHONE, DESK = 360, 1280
"""Widths in CSS pixels."""
_FLAGS = (
    "--headless",
    "--no-sandbox",  # the tests may run as root, in a container
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


class Browser:
    """One browser window."""

    def __init__(self, driver: webdriver.Chrome, folder: Path) -> None:
        self._driver, self._folder = driver, folder

    def show(self, page: str, width: int) -> None:
        """Open a page's HTML in a window of this width."""
        file = self._folder / "page.html"
        file.write_text(page, "utf-8")
        self.visit(file.as_uri(), width)

    def visit(self, address: str, width: int) -> None:
        """Open an address in a window of this width."""
        self._driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width == PHONE},
        )
        self._logs()
        self._driver.get(address)

    def complaints(self, own: str = "file:") -> list[str]:
        """The browser's errors about the page, and the page's requests to other addresses.

        Args:
            own: the prefix of the page's own addresses.
        """
        found = [each["message"] for each in self._driver.get_log("browser")]
        for each in self._driver.get_log("performance"):
            message = json.loads(each["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                address = message["params"]["request"]["url"]
                found += [] if address.startswith((own, "data:")) else [address]
        return found

    def _logs(self) -> None:
        for kind in ("browser", "performance"):
            self._driver.get_log(kind)

    def value(self, script: str) -> Any:
        """The value of a JavaScript expression in the page."""
        return self._driver.execute_script(f"return {script}")

    @property
    def overflow(self) -> int:
        """Number of pixels by which the page is wider than its window."""
        root = "document.documentElement"
        found: int = self.value(f"{root}.scrollWidth - {root}.clientWidth")
        return found

    @property
    def text(self) -> str:
        """The visible text of the page, with single spaces."""
        return " ".join(str(self.value("document.body.innerText")).split())

    def printed(self) -> PdfReader:
        """The page as the browser prints it to PDF."""
        found = self._driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
        return PdfReader(io.BytesIO(base64.b64decode(found["data"])))


@contextmanager
def a_browser() -> Iterator[Browser]:
    """A browser with its own profile, closed at the end. Fails if Chromium or its driver is not installed."""
    options = webdriver.ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with TemporaryDirectory() as profile, TemporaryDirectory() as pages:
        for flag in (*_FLAGS, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        try:
            yield Browser(driver, Path(pages))
        finally:
            driver.quit()

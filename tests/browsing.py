"""A real browser, for the tests of the page and for timing it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

BROWSERS = ("chromium", "chromium-browser")
# no profile, no service of the browser's own that would call anywhere
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


class Browser:
    """A browser that notes what its pages ask of the network and say on the console."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def open(self, page: Path, width: int = 1200, dark: bool = False, scripts: bool = True) -> None:
        """Open a page and wait until its charts are drawn."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600}
        self.command("Emulation.setEmulatedMedia", {"media": "screen", "features": [scheme]})
        self.command("Emulation.setDeviceMetricsOverride", size)
        self.command("Emulation.setScriptExecutionDisabled", {"value": not scripts})
        self.driver.get("about:blank")
        self.console()
        self.requests()
        self.driver.get(page.as_uri())
        if scripts:
            self.settle()
            return
        for _ in range(3):
            # a page in a process of its own may have begun before it was told to run no scripts
            if not self.run("return document.querySelector('.chart svg')"):
                return
            self.command("Emulation.setScriptExecutionDisabled", {"value": True})
            self.driver.refresh()

    def settle(self) -> None:
        """Wait until every chart has been drawn with what it was last given."""
        self.driver.execute_async_script(
            """
            const done = arguments[0];
            const drawn = () => [...document.querySelectorAll(".chart")]
              .every((chart) => chart.closest("details:not([open])")
                || chart.querySelector("svg .mark-rect path, svg .mark-symbol path"));
            const look = () => drawn() ? requestAnimationFrame(() => setTimeout(done, 50))
              : setTimeout(look, 20);
            look();
            """
        )

    def command(self, name: str, options: dict[str, Any]) -> Any:
        """A command of the browser's own protocol."""
        return self.driver.execute_cdp_cmd(name, options)

    def run(self, script: str, *arguments: object) -> Any:
        """The value that a script returns."""
        return self.driver.execute_script(script, *arguments)

    def console(self) -> list[str]:
        """What was said on the console since the last call."""
        return [str(entry["message"]) for entry in self._log("browser")]

    def requests(self) -> list[str]:
        """What was asked of the network since the last call, by its address."""
        found = []
        for entry in self._log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] in ("Network.requestWillBeSent", "Network.webSocketCreated"):
                found.append(str(message["params"].get("request", message["params"])["url"]))
        return [address for address in found if address != "about:blank"]

    def texts(self, selector: str) -> list[str]:
        """The texts of elements."""
        script = "return [...document.querySelectorAll(arguments[0])].map((e) => e.textContent)"
        return [str(text).strip() for text in self.run(script, selector)]

    def _log(self, kind: str) -> Sequence[dict[str, Any]]:
        return list(self.driver.get_log(kind))  # type: ignore[no-untyped-call]


def programs() -> tuple[str, str] | None:
    """Where the browser and its driver are; None where one is missing."""
    program = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    control = shutil.which("chromedriver")
    return None if program is None or control is None else (program, control)


@contextmanager
def browsing(profile: Path) -> Iterator[Browser]:
    """A browser with a profile folder of its own, gone afterwards.

    Raises
    ------
    FileNotFoundError
        Where there is none.
    """
    found = programs()
    if found is None:
        raise FileNotFoundError("no Chromium with its driver")
    program, control = found
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    logs = {"browser": "ALL", "performance": "ALL"}
    options.set_capability("goog:loggingPrefs", logs)
    driver = webdriver.Chrome(options=options, service=Service(control))
    driver.set_script_timeout(60)
    try:
        yield Browser(driver)
    finally:
        driver.quit()

"""A real browser for the page's tests: Debian's chromium, driven by selenium, without any network."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

_FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
#: Where the Node packages of the checks (axe-core, html-validate) are looked for, beside the usual global place.
_NODE_FOLDERS = (os.environ.get("HUMCHECK_NODE_MODULES"), Path(__file__).parents[2] / "node_modules")


def node_package(name: str) -> Path:
    """Return an installed Node package's folder; skips the test where it is absent."""
    folders = [Path(folder) for folder in _NODE_FOLDERS if folder]
    npm = shutil.which("npm")
    if npm:
        found = subprocess.run([npm, "root", "-g"], capture_output=True, text=True, check=False)
        folders.append(Path(found.stdout.strip()))
    for folder in folders:
        if (folder / name / "package.json").is_file():
            return folder / name
    pytest.skip(f"the Node package {name} is not installed (npm install -g {name})")


def complaints_about_html(paths: Iterable[Path], folder: Path) -> str:
    """Return what a checker of HTML says of pages, empty where they are right; skips where it is absent.

    `folder` is where its rules are written.
    """
    package = node_package("html-validate")
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    presets = [f"html-validate:{preset}" for preset in ("recommended", "a11y", "document")]
    (folder / "rules.json").write_text(json.dumps({"root": True, "extends": presets}))
    program = json.loads((package / "package.json").read_text(encoding="utf-8"))["bin"]
    program = program if isinstance(program, str) else program["html-validate"]
    checked = subprocess.run(
        [node, package / program, "--config", folder / "rules.json", *paths],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "NO_COLOR": "1"},
    )
    return "" if checked.returncode == 0 else f"{checked.stdout}{checked.stderr}" or f"status {checked.returncode}"


class Page:
    """One page in the browser."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver

    def command(self, name: str, **parameters: Any) -> Any:
        """Send a command of the browser's debugging protocol."""
        return self.driver.execute_cdp_cmd(name, parameters)

    def open(self, path: Path, *, width: int = 1280, dark: bool = False) -> None:
        """Open a file at a width and in a colour scheme."""
        self.command(
            "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=width < 600
        )
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        # A page that scrolls smoothly would still be moving while a test points at it.
        still = {"name": "prefers-reduced-motion", "value": "reduce"}
        self.command("Emulation.setEmulatedMedia", features=[scheme, still])
        self.driver.get(path.as_uri())

    def value(self, expression: str) -> Any:
        """Return what an expression is worth in the page, promises awaited; the page's policy does not bind it."""
        answer = self.command("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def console(self) -> list[str]:
        """Return and forget what the browser complained about."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """Return and forget the addresses that were asked for; those of the browser's own start page are left out."""
        messages = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        asked = [
            message["params"]["request"]["url"]
            for message in messages
            if message["method"] == "Network.requestWillBeSent"
        ]
        return [address for address in asked if not address.startswith("chrome:")]


@contextmanager
def chromium(profile: Path) -> Iterator[Page]:
    """Run the browser with a fresh profile; skips where it or its driver is absent."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    service = pytest.importorskip("selenium.webdriver.chrome.service")
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if browser is None or driver is None:
        pytest.skip("chromium or its driver is not installed (apt-get install chromium chromium-driver)")
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in (*_FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    running = webdriver.Chrome(options=options, service=service.Service(driver))
    try:
        yield Page(running)
    finally:
        running.quit()

"""The browser that pages are looked at with."""

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A real Chromium. A learner's machine may have none; where the project is tested there must be one."""
    if CHROMIUM is None and not os.environ.get("CI"):
        pytest.skip("no Chromium on this machine")
    assert CHROMIUM is not None, "install Chromium: apt-get install chromium"
    with sync_playwright() as play, play.chromium.launch(executable_path=CHROMIUM, args=FLAGS) as chromium:
        yield chromium

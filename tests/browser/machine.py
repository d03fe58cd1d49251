"""The machine's own Chromium, and how it is started."""

import os
import shutil

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def launch(playwright):
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "The browser tests need Chromium: apt-get install chromium"
    flags = [*FLAGS, "--no-sandbox"] if os.geteuid() == 0 else FLAGS
    return playwright.chromium.launch(executable_path=path, args=flags, headless=True)

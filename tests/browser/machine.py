"""The machine's own Chromium, and how it is started."""

import os
import shutil

# The shell comes first: it draws no window around each page, and so takes a third less of the machine.
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
FLAGS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--process-per-site",  # pages of one profile compile a script once for all of them
]


def launch(playwright):
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "The browser tests need Chromium: apt-get install chromium-headless-shell"
    flags = [*FLAGS, "--no-sandbox"] if os.geteuid() == 0 else FLAGS
    return playwright.chromium.launch(executable_path=path, args=flags, headless=True)

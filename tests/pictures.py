"""Makes the pictures in README.md from the demo shop, served for real: ``./run pictures``."""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.browser.machine import launch
from tests.service.installation import ROOT, Installation, wait_for

PLACE = ROOT / "static" / "img"
PASSWORD = "only-for-the-pictures-1"
SIZE_PX = {"width": 1180, "height": 1000}
COLOURS = 96  # few: the pages are ink on paper, and a picture stays below 200 kB

SHOWN = """
from curves.models import Run
from jobs.models import Job, Sheet
from shop.models import Person
job = Job.objects.filter(stage="hand_back", closed_at=None, build__runs__kind=Run.Kind.FINAL).latest("number")
sheet = Sheet.objects.signed().filter(kind=Sheet.Kind.CURVE_SHEET, void=None).earliest("pk")
answer = {
    "card": job.number,
    "sheet": [sheet.pk, sheet.job.number],
    "owner": Person.objects.filter(role="owner").earliest("pk").username,
}
"""
SHEET_PDF = "from jobs.models import Sheet\nanswer = Sheet.objects.get(pk={pk}).pdf.name"


def save(image, name):
    PLACE.mkdir(exist_ok=True)
    path = PLACE / name
    image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.relative_to(ROOT)}: {image.width} x {image.height}, {path.stat().st_size // 1000} kB")


def picture_of_card(installation, shown, folder):
    with sync_playwright() as playwright:
        browser = launch(playwright)
        page = browser.new_page(base_url=installation.url, viewport=SIZE_PX, reduced_motion="reduce")
        page.goto("/login/")
        page.locator("[name=username]").fill(shown["owner"])
        page.locator("[name=password]").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(f"{installation.url}/")
        page.goto(f"/jobs/{shown['card']}/", wait_until="networkidle")
        page.screenshot(path=folder / "card.png")
        browser.close()
    save(Image.open(folder / "card.png"), "card.png")


def picture_of_sheet(installation, shown, folder):
    pk, _ = shown["sheet"]
    name = wait_for(lambda: installation.ask(SHEET_PDF.format(pk=pk)), 300, "the signed sheet")
    pdf = folder / "files" / name
    subprocess.run(
        ["pdftoppm", "-png", "-r", "96", "-f", "1", "-l", "1", "-singlefile", pdf, folder / "sheet"],
        check=True,
    )
    save(Image.open(folder / "sheet.png"), "sheet.png")


def main():
    folder = Path(tempfile.mkdtemp(prefix="bobweight-pictures-"))
    installation = Installation(folder)
    try:
        installation.manage("prepare")
        installation.manage("demo", "--password", PASSWORD)
        installation.supervise()
        installation.wait_until_served()
        shown = installation.ask(SHOWN)
        picture_of_card(installation, shown, folder)
        picture_of_sheet(installation, shown, folder)
    finally:
        installation.stop()
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())

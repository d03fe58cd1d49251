"""A walk-in's unit from the counter to the signed sheet, by keyboard alone, on what ``./run`` serves."""

import csv
import io
import os
import re
import shutil
import signal
import subprocess
from pathlib import Path

import pypdf
import pytest
from playwright.sync_api import expect

from tests.browser.looks import assert_no_barrier, tab_to
from tests.browser.watch import REPORT_VIOLATIONS, Watch
from tests.service.installation import OWN_SETTINGS, ROOT, free_port, wait_for

# An invented curve in distributor rpm and degrees; worn: it begins early and ends two degrees high.
AS_RECEIVED = [(250, 0.5), (350, 2), (500, 4.5), (700, 7), (900, 9), (1200, 12), (1500, 13.5), (1800, 14)]
TRIAL = [(250, 0), (400, 0), (500, 1.5), (700, 4), (900, 6), (1200, 8.5), (1500, 10.5), (1800, 12)]
FINAL = [*TRIAL, (1500, 11, "falling"), (900, 6.5, "falling"), (500, 1.5, "falling")]
# Wanted at the crank: rpm, degrees, either way. Twice the trial's figures: the shaft turns at half speed.
TARGET = ["1000 3 1.5", "1800 12 1.5", "3000 21 1.5", "3600 24 1.5"]
INITIAL = 10


@pytest.fixture
def served(tmp_path):
    """The files of this repository in an empty folder, started with ``./run``: its address and its login."""
    clone = tmp_path / "bobweight"
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    for name in filter(None, listed.stdout.decode().split("\0")):
        if (ROOT / name).is_file():  # one that was deleted is still listed until the next commit
            (clone / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, clone / name)
    (clone / ".venv").symlink_to(Path(os.sys.prefix))
    port = free_port()
    environ = {name: value for name, value in os.environ.items() if name not in (*OWN_SETTINGS, "DATA_DIR")}
    log = tmp_path / "log.txt"
    with log.open("wb") as output:
        process = subprocess.Popen(
            [clone / "run"], cwd=tmp_path, env=environ | {"PORT": str(port)}, stdout=output, stderr=output
        )
    try:
        login = wait_for(
            lambda: re.search(r"login: (\S+)\s+password: (\S+)", log.read_text()),
            900,
            "the login that ./run prints",
        )
        url = f"http://127.0.0.1:{port}"
        wait_for(lambda: answers(url), 120, f"an answer on {url}")
        yield url, *login.groups()
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


def answers(url):
    from urllib.error import URLError
    from urllib.request import urlopen

    try:
        return urlopen(f"{url}/login/", timeout=5).status == 200
    except (URLError, OSError):
        return False


class Keys:
    """A person at the keyboard: goes from thing to thing with Tab, types, and presses Enter. No pointer."""

    def __init__(self, page):
        self.page = page
        # Listening from the start: else the browser may open its own dialog before it is told not to.
        page.on("filechooser", lambda chooser: None)

    def to(self, thing):
        expect(thing).to_be_attached()
        if not thing.evaluate("(e) => e === document.activeElement"):
            tab_to(self.page, thing, limit=400)
        return self

    def field(self, label, within=None):
        return (within or self.page).get_by_label(re.compile(rf"^{label}"))

    def type(self, label, text, *, within=None):
        self.to(self.field(label, within))
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)

    def press(self, role, name, *, within=None, key="Enter"):
        self.to((within or self.page).get_by_role(role, name=name, exact=True).first)
        self.page.keyboard.press(key)

    def file(self, label, path):
        self.to(self.field(label))
        with self.page.expect_file_chooser() as chooser:
            self.page.keyboard.press("Enter")
        chooser.value.set_files(path)


def as_csv(path, readings):
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["distributor rpm", "distributor deg", "direction"])
        out.writerows((*reading, *[""] * (3 - len(reading))) for reading in readings)
    return path


def type_run(keys, kind, words, path):
    keys.press("link", words)
    keys.page.wait_for_url(f"**/runs/new/?kind={kind}")
    expect(keys.page.locator("[data-grid]")).to_be_visible()  # until then the file's place is not folded
    keys.to(keys.page.locator("summary", has_text="Paste or upload"))
    keys.page.keyboard.press("Enter")
    keys.file("CSV file", path)
    keys.press("button", "Read it into the grid")
    expect(keys.page.locator("[data-say]").first).to_be_visible()
    keys.press("button", "Save the run")
    keys.page.wait_for_url(re.compile(r"/jobs/\d+/\?open="))


def test_walk_in_is_served_from_the_counter_to_the_sheet_in_hand(chromium, served, tmp_path):
    url, name, password = served
    watch = Watch(url)
    expect.set_options(timeout=120_000)
    context = chromium.new_context(base_url=url, locale="en-GB", timezone_id="UTC", accept_downloads=True)
    context.set_default_timeout(120_000)
    context.add_init_script(REPORT_VIOLATIONS)
    watch.over(context)
    page = context.new_page()
    keys = Keys(page)

    page.goto("/")
    keys.type("Login name", name)
    keys.type("Password", password)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{url}/")

    keys.press("link", "New job", within=page.get_by_role("navigation").first)
    page.wait_for_url("**/jobs/new/")
    for label, text in {
        "Customer": "Wanda Quillfeather",
        "Phone": "01632 960 777",
        "Unit maker": "Tolldane",
        "Unit number": "TZ 4471",
        "Complaint": "Hunts at idle and pinks on hills",
        "Tray": "J 7",
        "Engine make": "Pellgrove",
        "Engine model": "Quartet 17",
        "Displacement": "1743",
        "Compression": "8,6",
        "Idle": "800",
        "Top speed": "4600",
    }.items():
        keys.type(label, text)
    keys.press("button", "Open the card")
    page.wait_for_url(re.compile(r"/jobs/\d+/"))
    number = re.search(r"/jobs/(\d+)/", page.url).group(1)
    keys.press("button", "Move on to teardown")

    type_run(keys, "as_received", "Type the run as received", as_csv(tmp_path / "came.csv", AS_RECEIVED))
    keys.type("A finding", "Loop of the primary spring stretched")
    page.keyboard.press("Enter")
    expect(page.locator("#sec-findings li").first).to_be_visible()
    keys.press("link", "Fill in the inspection", within=page.locator("#rail"))
    form = page.locator("form.points")
    expect(form).to_be_visible()
    for point in form.locator(".point").all():
        keys.to(point.locator("summary"))
        page.keyboard.press("Enter")
        keys.to(point.locator("select"))
        page.keyboard.press("ArrowDown")
    keys.press("button", "Save the inspection")
    expect(page.get_by_text("Every point is answered")).to_be_attached()
    page.goto(f"/jobs/{number}/")
    keys.press("button", "Move on to cleaning")

    cleaning = page.locator("#sec-cleaning")
    tick_off(keys, cleaning)
    keys.press("button", re.compile("Sign: every bore"), within=cleaning)
    expect(cleaning.get_by_text("Free of abrasive")).to_be_visible()
    keys.press("button", "Move on to spring trials")

    keys.press("link", "Set the target", within=page.locator("#rail"))
    page.wait_for_url("**/target/")
    keys.to(page.locator("[data-grid] tbody input").first)
    for row in TARGET:
        for cell in row.split():
            page.keyboard.type(cell)
            page.keyboard.press("Tab")
        page.keyboard.press("Tab")  # past the button that clears the row
    keys.type("Initial timing to set", str(INITIAL))
    keys.press("button", "Save the target")
    page.wait_for_url(re.compile(r"/jobs/\d+/\?open="))
    type_run(keys, "trial", "Type a trial run", as_csv(tmp_path / "trial.csv", TRIAL))
    expect(page.locator(".card-curve").get_by_text("Trial run 2: rising sweep in the band")).to_be_visible()
    keys.press("button", "Move on to bench curve")

    type_run(keys, "final", "Type the final run", as_csv(tmp_path / "final.csv", FINAL))
    expect(page.locator(".card-curve")).to_contain_text("Final run 3 proved: sweeps in the band")
    tick_off(keys, page.locator("#sec-assembly"))
    assert_no_barrier(page)
    keys.press("button", "Move on to hand-back")

    paper = page.locator("#sec-paper")
    keys.type("Your password, again", password, within=paper)
    keys.press("button", "Sign the sheet", within=paper)
    signed = paper.locator("li").filter(has=page.locator(".stamp"))  # not the tray tag, made at the counter
    leads_to = signed.get_by_role("link", name=re.compile("Open the PDF"))
    keys.to(leads_to)
    pdf = context.request.get(leads_to.get_attribute("href"))
    look_inside(pdf.body(), setting_card_on(page), number)

    page.goto(f"/jobs/{number}/")
    keys.type("Handed to", "Wanda Quillfeather")
    keys.press("button", "Hand back and close the card")
    expect(page.get_by_role("button", name="It is back: open a new card")).to_be_visible()

    keys.press("link", "Search")
    page.wait_for_url("**/search/")
    keys.to(page.locator("summary", has_text="By engine"))
    page.keyboard.press("Enter")
    keys.type("Displacement", "1740")
    keys.type("Compression", "8.6")
    hit = page.locator("#found").get_by_role("link", name="Tolldane TZ 4471").first
    keys.to(hit)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/jobs/{number}/**")
    context.close()
    assert watch.complaints() == []


def tick_off(keys, section):
    """Every step of a list, one after the other."""
    steps = section.get_by_role("button", name=re.compile("^Done"))
    expect(steps.first).to_be_visible()  # the page may still be on its way
    for left in range(steps.count(), 0, -1):
        keys.to(steps.first)
        keys.page.keyboard.press("Enter")
        expect(steps).to_have_count(left - 1)


def setting_card_on(page):
    """The rows of the setting card as the screen says them: crank rpm and what the light must read."""
    rows = page.locator(".card-curve table tbody tr")
    return [row.locator("td").all_inner_texts()[:2] for row in rows.all() if row.is_visible()]


def look_inside(body, card, number):
    """The sheet says what the screen says, in both frames, and its chart is drawn, not a picture."""
    reader = pypdf.PdfReader(io.BytesIO(body))
    text = " ".join(page.extract_text() for page in reader.pages)
    for said in (
        "Wanda Quillfeather",
        "TZ 4471",
        "Pellgrove Quartet 17",
        "Loop of the primary spring stretched",
    ):
        assert said in " ".join(text.split()), said
    assert re.search(rf"Job\s+{number}\b", text)
    assert card
    for rpm, reads in card:
        assert re.search(rf"{rpm}\b[^\d]*{re.escape(reads)}", text), (rpm, reads)
    # Crank and distributor: 12 distributor degrees at 1800 distributor rpm are 24 crank degrees at 3600.
    assert re.search(r"3600\s+1800\b", text) or re.search(r"1800\s+3600\b", text), text
    drawn = reader.pages[0].get_contents().get_data()
    assert drawn.count(b" l\n") + drawn.count(b" l ") > 60
    assert not [image for page in reader.pages for image in page.images]

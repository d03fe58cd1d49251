"""What every page must hold: no barrier for axe, no sideways scroll, all in reach of keys and fingers.

A page is loaded once and then shown in every size, in light and in dark: it follows both by itself, and a
loaded page is looked at in a tenth of the time that loading it takes.
"""

from axe_playwright_python.base import AXE_SCRIPT, AxeResults

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1280, 800)}
NARROWEST = (320, 640)
SCHEMES = ("light", "dark")
FINGER_PX = 44
RULES = {
    "resultTypes": ["violations"],
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    },
}
# The rules among them that look at colours: all that can come out otherwise in the other scheme.
COLOURS = RULES | {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
# A page that is not being painted is given no frame, hence the other way.
PAINTED = "() => new Promise((done) => { requestAnimationFrame(done); setTimeout(done, 500); })"
# A chart is drawn anew once a page that was resized is quiet, or after 3 s (static/js/chart.js); whoever asks
# later than it is served later.
QUIET = "() => new Promise((done) => requestIdleCallback(done, { timeout: 3000 }))"


def assert_holds(page, least_px=None):
    """In every size, in light and in dark: no barrier, no sideways scroll, nothing too small for a finger.

    ``least_px`` says how large links and controls are at least, by the part of the page they are in.
    """
    for size in in_every_size(page):
        assert_fits(page)
        for within, px in (least_px or {"main": FINGER_PX}).items():
            small = small_targets(page, px, within)
            assert not small, f"{page.url}, {size}: {small}"
        assert_no_barrier_in_light_or_dark(page)
    resize(page, NARROWEST)
    assert_fits(page)


def in_every_size(page):
    """Show the page in each size in turn, and say which."""
    for name, size in SIZES.items():
        resize(page, size)
        yield name


def resize(page, size):
    page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
    page.evaluate(PAINTED)
    page.evaluate(QUIET)


def assert_no_barrier_in_light_or_dark(page):
    for scheme, rules in zip(SCHEMES, (RULES, COLOURS), strict=True):
        page.emulate_media(color_scheme=scheme)
        page.evaluate(PAINTED)
        assert_no_barrier(page, rules)


def assert_no_barrier(page, rules=RULES):
    """axe-core finds nothing against WCAG 2.2 A and AA, nor against its good practice."""
    results = axe(page, rules)
    found = [one for one in results.response["violations"] if not _is_excepted(one)]
    assert not found, f"{page.url}, {page.viewport_size}\n{results.generate_report()}"


def axe(page, rules, within="html"):
    """What axe-core says of a page; its source goes into each loaded page once."""
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE_SCRIPT)
    return AxeResults(page.evaluate("([within, rules]) => axe.run(within, rules)", [within, rules]))


def _is_excepted(violation):
    """WCAG 2.5.8 excepts a control that has an equivalent on the page, which axe can't know.

    The points of a target stand where the curve has them, however near each other; the grid does the same.
    """
    points = ['class="target-point"' in node["html"] for node in violation["nodes"]]
    return violation["id"] == "target-size" and all(points)


def assert_fits(page):
    """Nothing makes the page scroll sideways."""
    wide, seen = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide <= seen, f"{page.url} is {wide} px wide in a window of {seen} px"


def small_targets(page, least_px=FINGER_PX, within="body"):
    """Links and controls smaller than a finger, as text; a link inside a sentence is exempt."""
    return page.locator(within).evaluate(
        """(root, least) => [...root.querySelectorAll("a[href], button, input, select, textarea, summary")]
          .filter((e) => e.type !== "hidden" && e.checkVisibility() && !e.closest("p, td, dd, li p"))
          .map((e) => {
            const label = ["checkbox", "radio"].includes(e.type) && e.labels && e.labels[0];
            const box = (label || e).getBoundingClientRect();
            return [e, box];
          })
          .filter(([, box]) => box.width > 0 && (box.height < least - 0.5 || box.width < least - 0.5))
          .map(([e, box]) => `${e.outerHTML.slice(0, 90)}: ${box.width | 0} x ${box.height | 0}`)
        """,
        least_px,
    )


def tab_to(page, target, limit=120):
    """Press Tab until the element found by the locator has the focus, and say how often."""
    for pressed in range(1, limit + 1):
        page.keyboard.press("Tab")
        if target.evaluate("(e) => e === document.activeElement"):
            return pressed
    raise AssertionError(f"{limit} times Tab did not reach {target}")


def focus_shows(page):
    """Whether the element that has the focus looks other than without it: an outline or a ring."""
    return page.evaluate(
        """() => {
          const style = getComputedStyle(document.activeElement);
          const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
          return outlined || style.boxShadow !== "none";
        }"""
    )

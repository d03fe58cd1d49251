"""What every page must hold: no barrier for axe, no sideways scroll, all in reach of keys and fingers."""

from axe_playwright_python.sync_playwright import Axe

RULES = {
    "resultTypes": ["violations"],
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    },
}


def assert_no_barrier(page):
    """axe-core finds nothing against WCAG 2.2 A and AA, nor against its good practice."""
    results = Axe().run(page, options=RULES)
    found = [one for one in results.response["violations"] if not _is_excepted(one)]
    assert not found, f"{page.url}\n{results.generate_report()}"


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


def small_targets(page, least_px=44, within="body"):
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

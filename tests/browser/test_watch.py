"""The watch itself: it must hear what it listens for, or every other browser test is deaf."""

import pytest

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def blank(open_page, live_server):
    """A page of our own origin under our own policy: the answer to an address that does not exist."""
    page = open_page(who=None)
    page.goto("/no/such/page/")
    return page


def test_watch_hears_console_script_policy_and_other_hosts(blank, watch):
    watch.forgive("404")
    assert watch.complaints() == []
    blank.evaluate("console.error('lost a spring')")
    blank.evaluate("setTimeout(() => { throw new Error('weights flew off') })")
    blank.evaluate("document.body.appendChild(document.createElement('script')).text = 'window.x = 1'")
    blank.evaluate("document.body.appendChild(new Image()).src = 'http://127.0.0.2:9/elsewhere.png'")
    blank.wait_for_timeout(300)
    heard = "\n".join(watch.complaints())
    for words in (
        "lost a spring",
        "weights flew off",
        "policy violated: script-src",
        "policy violated: img-src",
    ):
        assert words in heard
        watch.forgive(words)
    for words in ("Refused", "violates", "127.0.0.2"):
        watch.forgive(words)

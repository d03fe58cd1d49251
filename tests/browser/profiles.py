"""Browser profiles that one test hands to the next, emptied of all but what was fetched and compiled.

In a new profile, or a new process, every script is compiled anew: three times what showing a page takes.
"""

from tests.browser.watch import REPORT_VIOLATIONS

# Text of our own origin: the page that keeps a profile's process alive, between tests too.
KEEPER = "/static/css/tokens.css"
KEPT_BY_PAGES = "local_storage,indexeddb,cache_storage,service_workers,file_systems"


class Profiles:
    """Lends out profiles, each to one at a time; one that came back remembers nothing of its user."""

    def __init__(self, chromium, home):
        self._chromium = chromium
        self._home = home
        self._free = {}  # by what they were made with
        self._lent = {}

    def lend(self, **options):
        """A profile made with these options of Playwright's ``new_context``."""
        kind = repr(sorted(options.items()))
        free = self._free.setdefault(kind, [])
        profile = free.pop() if free else self._make(options)
        self._lent[profile] = kind
        return profile

    def take_back(self, profile):
        keeper, *pages = profile.pages
        for page in pages:
            page.close()
        profile.set_offline(False)
        profile.unroute_all()
        profile.clear_cookies()
        session = profile.new_cdp_session(keeper)
        session.send("Storage.clearDataForOrigin", {"origin": self._home, "storageTypes": KEPT_BY_PAGES})
        session.detach()
        self._free[self._lent.pop(profile)].append(profile)

    def _make(self, options):
        profile = self._chromium.new_context(
            base_url=self._home, locale="en-GB", timezone_id="UTC", reduced_motion="reduce", **options
        )
        profile.set_default_timeout(30_000)
        profile.add_init_script(REPORT_VIOLATIONS)
        profile.new_page().goto(KEEPER)
        return profile

"""Listens to pages: errors on the console, broken scripts, the policy violated, other hosts asked."""

REPORT_VIOLATIONS = """
document.addEventListener("securitypolicyviolation", (event) =>
  console.error(`policy violated: ${event.violatedDirective} ${event.blockedURI} ${event.sample}`));
"""


class Watch:
    def __init__(self, home):
        self.home = home
        self.heard = []
        self.forgiven = []

    def over(self, context):
        for event, hear in self._ears():
            context.on(event, hear)

    def leave(self, context):
        """Hear no more of it: the next test has a watch of its own."""
        for event, hear in self._ears():
            context.remove_listener(event, hear)

    def forgive(self, words):
        """Expect a complaint with these words, as the browser's own line on an answer of 422."""
        self.forgiven.append(words)

    def complaints(self):
        return [line for line in self.heard if not any(words in line for words in self.forgiven)]

    def _ears(self):
        return ("console", self._console), ("weberror", self._script_error), ("request", self._request)

    def _console(self, message):
        if message.type in ("error", "warning"):
            self.heard.append(f"{message.type}: {message.text} ({message.location.get('url', '')})")

    def _script_error(self, error):
        self.heard.append(f"script error: {error.error}")

    def _request(self, request):
        if not request.url.startswith((self.home, "data:", "blob:")):
            self.heard.append(f"asked another host: {request.url}")

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
        context.add_init_script(REPORT_VIOLATIONS)
        context.on("console", self._console)
        context.on("weberror", lambda error: self.heard.append(f"script error: {error.error}"))
        context.on("request", self._request)

    def forgive(self, words):
        """Expect a complaint with these words, as the browser's own line on an answer of 422."""
        self.forgiven.append(words)

    def complaints(self):
        return [line for line in self.heard if not any(words in line for words in self.forgiven)]

    def _console(self, message):
        if message.type in ("error", "warning"):
            self.heard.append(f"{message.type}: {message.text} ({message.location.get('url', '')})")

    def _request(self, request):
        if not request.url.startswith((self.home, "data:", "blob:")):
            self.heard.append(f"asked another host: {request.url}")

"""Asks the web server here for its login page; ``python -m shop.health`` fails when it does not answer."""

import http.client
import sys
from typing import NoReturn

from shop import environment


def main() -> NoReturn:
    port = int(environment.text("PORT", "8000"))
    headers = {"Host": environment.names("ALLOWED_HOSTS", "localhost")[0].lstrip(".")}
    if environment.text("PUBLIC_URL").startswith("https://"):
        headers["X-Forwarded-Proto"] = "https"  # as the proxy says, or the answer is a redirect
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/login/", headers=headers)
        status = connection.getresponse().status
    except OSError as error:
        sys.exit(f"No answer on port {port}: {error}")
    sys.exit(0 if status == http.client.OK else f"The login page answered {status}.")


if __name__ == "__main__":
    main()

"""An installation of Bobweight in a folder of its own, run by the very commands that people run."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, Request, build_opener

ROOT = Path(__file__).resolve().parents[2]
OWN_SETTINGS = (
    "DATABASE_URL",
    "REDIS_URL",
    "QUEUE_DIR",
    "PUBLIC_URL",
    "ALLOWED_HOSTS",
    "SECRET_KEY",
    "DEBUG",
)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(condition, within_s=30.0, what="it"):
    """The first true answer of ``condition``, asked again and again; generous, for a busy machine."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        answer = condition()
        if answer:
            return answer
        time.sleep(0.05)
    raise AssertionError(f"{what} did not come about in {within_s:.0f} s")


class Installation:
    """Its environment, its processes, and what one may ask of them."""

    def __init__(self, folder, **environ):
        self.folder = folder
        self.port = free_port()
        kept = {name: value for name, value in os.environ.items() if name not in OWN_SETTINGS}
        self.environ = (
            kept
            | {"DATA_DIR": str(folder), "PORT": str(self.port), "LOG_LEVEL": "INFO", "DEMO": "0"}
            | environ
        )
        self.url = f"http://127.0.0.1:{self.port}"
        self.started = []

    def manage(self, *words):
        return self._run(sys.executable, "manage.py", *words)

    def ask(self, code):
        """Run Python inside the installation; what it assigns to ``answer`` comes back through JSON."""
        script = f"import json, django; django.setup()\n{code}\nprint(json.dumps(answer))"
        return json.loads(self._run(sys.executable, "-c", script).splitlines()[-1])

    def _run(self, *command):
        environ = self.environ | {"DJANGO_SETTINGS_MODULE": "shop.settings"}
        done = subprocess.run(command, cwd=ROOT, env=environ, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
        return done.stdout

    def start(self, *command):
        """Start a command in the installation; its log is ``log()``."""
        with self.log_file.open("ab") as log:
            process = subprocess.Popen(
                command, cwd=ROOT, env=self.environ, stdout=log, stderr=log, start_new_session=True
            )
        self.started.append(process)
        return process

    @property
    def log_file(self):
        return self.folder / "log.txt"

    def log(self):
        return self.log_file.read_text(encoding="utf-8", errors="replace")

    def supervise(self, *names):
        return self.start(sys.executable, "-m", "shop.supervise", *names)

    def wait_until_served(self):
        wait_for(self._answers, what=f"an answer on {self.url}")

    def _answers(self):
        try:
            return self.visitor().get("/login/").status < 500
        except OSError:
            return False

    def visitor(self):
        return Visitor(self.url)

    def stop(self):
        for process in self.started:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
        for process in self.started:
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


class Visitor:
    """A browser without a screen: keeps cookies, follows redirects, sends forms with their token."""

    def __init__(self, url):
        self.url = url
        self.cookies = CookieJar()
        self._opener = build_opener(HTTPCookieProcessor(self.cookies))

    def get(self, path, **headers):
        return self._open(Request(self.url + path, headers=headers))

    def post(self, path, **fields):
        token = next((cookie.value for cookie in self.cookies if cookie.name == "csrftoken"), "")
        body = urlencode(fields | {"csrfmiddlewaretoken": token}).encode()
        return self._open(Request(self.url + path, body, {"Referer": self.url + path}))

    def log_in(self, username, password):
        self.get("/login/")
        return self.post("/login/", username=username, password=password)

    def _open(self, request):
        try:
            return self._opener.open(request, timeout=30)
        except HTTPError as answer:  # an answer like any other, for a test
            return answer


def children_of(pid):
    """Process ids by command line, of the processes that this one started."""
    found = {}
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in task.read_text().split():
            line = Path(f"/proc/{child}/cmdline").read_bytes().replace(b"\0", b" ").decode()
            found[int(child)] = line
    return found


def is_running(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def copy_static(source, folder):
    """Static files collected once serve every installation: compressing them takes ten seconds."""
    shutil.copytree(source / "static", folder / "static", copy_function=os.link)

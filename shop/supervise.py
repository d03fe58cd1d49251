"""Runs the web server and the paper worker under one roof: a child that dies is started again.

``python -m shop.supervise`` serves HOST:PORT (127.0.0.1:8000) until SIGTERM or Ctrl-C. With ``web`` or
``worker`` it becomes that one process, for a machine that has a supervisor of its own.
"""

import ctypes
import logging
import os
import signal
import socket
import subprocess
import sys
import time

from shop import environment

log = logging.getLogger("supervise")

PR_SET_PDEATHSIG = 1  # prctl(2)
FIRST_WAIT_S = 0.25
DOUBLINGS = 7  # then the wait stays as it is: 32 s
SETTLED_AFTER_S = 60.0
STOP_WITHIN_S = 40.0  # longer than gunicorn and celery give a request or a sheet to end
LOOK_EVERY_S = 0.1


def web_command(host, port):
    """gunicorn: one process, eight threads; SQLite has one writer, and the pages are short."""
    return [
        *(sys.executable, "-m", "gunicorn", "shop.wsgi", "--bind", f"{host}:{port}"),
        *("--worker-class", "gthread", "--workers", "1", "--threads", "8"),
        *("--graceful-timeout", "20", "--no-control-socket", "--log-level", "warning"),
    ]


def worker_command():
    """One Celery worker that builds paper, one sheet at a time, in its own process."""
    return [
        *(sys.executable, "-m", "celery", "--quiet", "-A", "shop", "worker", "--pool", "solo"),
        *("--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "warning"),
    ]


class Child:
    """A process to keep alive, started again after a wait that doubles while it keeps dying."""

    def __init__(self, name, command):
        self.name, self.command = name, command
        self.process = None
        self.started_at = 0.0
        self.start_at = 0.0
        self.deaths = 0

    def start(self):
        parent = os.getpid()
        # Its own session: Ctrl-C reaches the supervisor alone, which then stops each child in order.
        self.process = subprocess.Popen(
            self.command, start_new_session=True, preexec_fn=lambda: die_with(parent)
        )
        self.started_at = time.monotonic()

    def tend(self):
        """Start it if it is due; note a death and plan the next start."""
        now = time.monotonic()
        if self.process is None:
            if now >= self.start_at:
                self.start()
        elif self.process.poll() is not None:
            self.deaths = 0 if now - self.started_at > SETTLED_AFTER_S else self.deaths + 1
            wait_s = FIRST_WAIT_S * 2 ** min(self.deaths, DOUBLINGS)
            log.error("%s ended with status %s; again in %.1f s", self.name, self.process.returncode, wait_s)
            self.process, self.start_at = None, now + wait_s

    def ask_to_stop(self):
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()

    def wait_or_kill(self, deadline):
        if self.process is None:
            return
        try:
            self.process.wait(max(0.0, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            log.error("%s did not stop in %.0f s: killed", self.name, STOP_WITHIN_S)
            self.process.kill()
            self.process.wait()


def die_with(parent):
    """In the child: be told to stop when the supervisor is gone, even when it was killed by force."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    if os.getppid() != parent:  # it died before we asked
        os._exit(1)


def is_taken(host, port):
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), port))
        except OSError:
            return True
    return False


def answers(host, port):
    try:
        with socket.create_connection((host.strip("[]"), port), timeout=0.2):
            return True
    except OSError:
        return False


def keep(children, stopping, ready=lambda: True, on_ready=lambda: None):
    """Tend the children until ``stopping()``; then, or when this fails, stop them all."""
    announced = False
    try:
        while not stopping():
            for child in children:
                child.tend()
            if not announced and ready():
                announced = True
                on_ready()
            time.sleep(LOOK_EVERY_S)
    finally:
        stop(children)


def stop(children):
    """Ask all to stop, then wait for each as long as what they do may take."""
    for child in children:
        child.ask_to_stop()
    deadline = time.monotonic() + STOP_WITHIN_S
    for child in children:
        child.wait_or_kill(deadline)


def main():
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    host, port = environment.text("HOST", "127.0.0.1"), int(environment.text("PORT", "8000"))
    commands = {"web": web_command(host, port), "worker": worker_command()}
    if len(sys.argv) > 1:
        command = commands[sys.argv[1]]
        os.execv(command[0], command)
    if is_taken(host, port):
        sys.exit(f"Port {port} on {host} is in use: stop what holds it, or choose another: PORT=8001 ./run")

    asked = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda received, _: asked.append(received))
    keep(
        [Child(name, command) for name, command in commands.items()],
        stopping=lambda: asked,
        ready=lambda: answers(host, port),
        on_ready=lambda: log.info("Ready at http://%s:%s (stop with Ctrl-C)", host, port),
    )


if __name__ == "__main__":
    main()

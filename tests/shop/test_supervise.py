"""The supervisor's patience: children that die all night, and what becomes of the others when it fails."""

import signal
import subprocess
import sys
from types import SimpleNamespace

import pytest

from shop import supervise

ENDS = [sys.executable, "-c", "raise SystemExit(3)"]
STAYS = [sys.executable, "-c", "import time; time.sleep(600)"]
DEAF = """
import signal, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
print(flush=True)
time.sleep(600)
"""
NOW_S = 1000.0


@pytest.fixture
def clock(monkeypatch):
    """The supervisor's clock stands still: what is asked is which moments it names."""
    monkeypatch.setattr(supervise, "time", SimpleNamespace(monotonic=lambda: NOW_S, sleep=lambda _: None))


def died(deaths):
    """A child that has just died, after it did so this often before."""
    child = supervise.Child("worker", ENDS)
    child.deaths = deaths
    child.start()
    child.process.wait()
    child.tend()
    return child


@pytest.mark.parametrize(("deaths", "wait_s"), [(0, 0.5), (1, 1), (5, 16), (6, 32), (7, 32), (1100, 32)])
def test_the_wait_doubles_to_a_half_minute_however_often_it_dies(clock, deaths, wait_s):
    """2 to the 1024th is no float any more: a worker dies so often in one night."""
    child = died(deaths)
    assert child.process is None
    assert child.deaths == deaths + 1
    assert child.start_at == NOW_S + wait_s


def test_a_failure_stops_the_children_before_it_is_told():
    class Broken(supervise.Child):
        def tend(self):
            raise OSError("no process can be made")

    steady, broken = supervise.Child("web", STAYS), Broken("worker", ENDS)
    steady.start()
    try:
        with pytest.raises(OSError, match="no process can be made"):
            supervise.keep([steady, broken], stopping=lambda: False)
        assert steady.process.returncode == -signal.SIGTERM
    finally:
        steady.process.kill()
        steady.process.wait()


def test_children_are_asked_to_stop_before_any_is_waited_for(clock):
    done = []

    class Noted(supervise.Child):
        def tend(self):
            pass

        def ask_to_stop(self):
            done.append(f"{self.name} asked")

        def wait_or_kill(self, deadline):
            done.append(f"{self.name} awaited till {deadline - NOW_S:g} s")

    supervise.keep([Noted("web", []), Noted("worker", [])], stopping=lambda: True)
    assert done == ["web asked", "worker asked", "web awaited till 40 s", "worker awaited till 40 s"]


def test_a_child_that_will_not_stop_is_killed(clock):
    child = supervise.Child("worker", [])
    child.process = subprocess.Popen([sys.executable, "-c", DEAF], stdout=subprocess.PIPE)
    with child.process.stdout as heard:
        heard.readline()
        child.ask_to_stop()
        child.wait_or_kill(NOW_S)
    assert child.process.returncode == -signal.SIGKILL

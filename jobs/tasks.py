"""The worker's side: a task calls an action; what a lost nudge left is swept up."""

from typing import Any

from celery import bootsteps, shared_task
from celery.signals import worker_ready
from django.db import close_old_connections

from curves.springs import tasks as learning
from jobs.papers import building
from shop import nudges
from shop.celery import app

SWEEP_EVERY_S = 20


@shared_task(name=building.NEXT)
def build_next(go_on: bool = False) -> None:
    """Build the sheet that is wanted most: a nudge says that there is work, the rows say which.

    With ``go_on`` another nudge follows until nothing waits; so a sweep needs one, however much it finds.
    """
    building.build_next()
    if go_on and building.waiting():
        nudges.send(building.NEXT, go_on=True)


def sweep(**_: Any) -> None:
    """Queue all work that should be in hand and is not, and fail what a worker died on too often."""
    learning.sweep()
    building.give_up_dead()
    if building.waiting():
        nudges.send(building.NEXT, go_on=True)


def sweep_again() -> None:
    """A sweep on a connection that may have gone stale since the last one."""
    close_old_connections()
    sweep()


class Sweeper(bootsteps.StartStopStep):
    """Sweeps at intervals inside the worker, so that no scheduler has to run beside it."""

    requires = {"celery.worker.components:Timer"}  # pyrefly: ignore [bad-override]  # any collection will do

    def __init__(self, parent: Any, **options: Any) -> None:
        super().__init__(parent, **options)
        self.timer = None

    def start(self, parent: Any) -> None:
        self.timer = parent.timer.call_repeatedly(SWEEP_EVERY_S, sweep_again)

    def stop(self, parent: Any) -> None:
        if self.timer:
            self.timer.cancel()


app.steps["worker"].add(Sweeper)  # pyrefly: ignore [unsupported-operation]  # filled as the app is made
worker_ready.connect(sweep, dispatch_uid="jobs.tasks.sweep")

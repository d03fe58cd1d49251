"""The Celery application: builds paper outside the request."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

app = Celery("bobweight")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

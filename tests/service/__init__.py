"""Real servers: Redis, PostgreSQL, gunicorn and the Celery worker, started for the test and thrown away."""

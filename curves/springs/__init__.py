"""The drawer and what it learns: load tests, corrections from jobs, types of head."""

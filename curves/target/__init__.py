"""The target while it is typed: what can be said of it, and where it may start from."""

"""Template filters of curve work."""

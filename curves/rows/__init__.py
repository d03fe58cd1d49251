"""Rows to arrays and back, what is read of a build, and everything that writes it, under its lock."""

"""Timing on the engine: the initial timing behind a light, the setting card, idle, and the best advance."""

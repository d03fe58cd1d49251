"""The band that a curve must lie in, and how a curve lies against it."""

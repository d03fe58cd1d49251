"""Commands of the shop."""

"""Papers: gathered from a card, built by the worker, signed, and verified years later."""

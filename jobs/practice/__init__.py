"""The practice bench on a card: an invented unit, and what hands do beside it."""

"""The demo shop: an invented workshop with two years of work behind it, told through the real actions."""

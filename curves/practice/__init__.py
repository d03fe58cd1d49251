"""Practice: invented units behind a simulated bench."""

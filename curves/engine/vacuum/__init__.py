"""The vacuum capsule: what it adds at which vacuum, and whether it holds."""

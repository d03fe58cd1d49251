"""The card's rules: what it must have before it goes on, and the facts that decide it."""

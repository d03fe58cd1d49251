"""The forms of the card."""

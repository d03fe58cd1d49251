"""The forms of the card, a module a room."""

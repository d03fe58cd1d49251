"""Moving a card on and back, handing it back, and closing it without the repair."""

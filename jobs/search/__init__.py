"""Finding a card by anything written on it, or by an engine like this one; each hit says why."""

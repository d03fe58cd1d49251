"""Money: what the customer says to an estimate, and the forms of every amount on a card."""

"""What people fill in on a card, checked at the door."""

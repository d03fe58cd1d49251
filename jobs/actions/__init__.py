"""What people do to a card: each action is one transaction and one entry in its history."""

<<<<<<< HEAD
"""The forms of the card, a module a room."""
=======
"""What people fill in on a card, checked at the door."""
>>>>>>> demo

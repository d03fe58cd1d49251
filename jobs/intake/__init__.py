"""The counter: opening a card, and what a customer and the shop agree on."""

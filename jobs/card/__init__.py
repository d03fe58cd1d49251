"""What people do on the card's page, address by address, and the board that leads to it."""

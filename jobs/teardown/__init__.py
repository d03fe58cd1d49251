"""What is found and done on a unit in pieces: the inspection list, findings, parts, steps, photos."""

"""What is typed, pasted or read from a file: cells, grids, columns, and how far a number may go."""

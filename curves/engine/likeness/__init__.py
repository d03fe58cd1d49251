"""How alike two curves or two engines are, and the nearest of many."""

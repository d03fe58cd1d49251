"""Proposing: every pair in the drawer by its chance, the spring to buy, what measurement would help."""

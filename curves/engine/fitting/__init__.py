"""Fitting a head to its runs: the model, the search for the most likely head, and what is still possible."""

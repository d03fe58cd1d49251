"""The record: what was done to a card, chained entry by entry, and what a paper freezes of it."""

"""The card's page: its stages and sections, what stands for a folded one, and how a fragment is answered."""

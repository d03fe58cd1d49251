"""A card's curve work: its bench, runs, target, trials and sweeps."""

"""What readings come to: a run against its band, what it proves, timing, sweeps and responses."""

"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

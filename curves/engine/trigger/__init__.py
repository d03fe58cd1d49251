"""What fires the coil: dwell, coil current and copper, and how evenly the sparks fall."""

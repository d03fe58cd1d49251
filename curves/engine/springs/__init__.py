"""Springs: what is known of one, its rate from loads or from wire, and the wire for a rate."""

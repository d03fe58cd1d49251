"""An advance head: what is known of it before a run, and the balance of its weights and springs."""

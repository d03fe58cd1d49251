"""The drawer's pages: springs, what they learned, types of head."""

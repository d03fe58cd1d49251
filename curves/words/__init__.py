"""The words for the engine's codes: a sentence for each, told in the frame and the units of who reads."""

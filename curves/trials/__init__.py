"""The loop of spring trials: what the runs teach, and which pair to hang next."""

"""A figure as a dict, the same as SVG, and where its axes and labels go."""

"""Curves as continuous straight pieces between knees, fitted by least squares."""

"""Whole calls against a simulated technician in a simulated house, watched and counted."""

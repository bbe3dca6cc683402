"""Solids with their ends cut to fit and their holes cut: an end at a time, then all bodies of a job."""

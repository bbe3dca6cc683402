"""Maths on plain points: vectors, frames, circles. Knows nothing of tubes."""

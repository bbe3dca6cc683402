"""Rows of vertices as straights and arcs: divided, or followed by as few tangent pieces as the tolerance allows."""

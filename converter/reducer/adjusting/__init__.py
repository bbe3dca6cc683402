"""Pieces as one tube, and its numbers adjusted by least squares.

`directions` gives each joint one direction, `settle` makes the bend table of that in its place, and `spread` makes its
lengths what is closest to the pieces. `polish` adjusts every number to the vertices: `linear` says how their distances
change with each, `walk` solves for all in one pass along the tube. `minimax` makes the largest distance least.
"""

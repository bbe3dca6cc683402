"""Tubes that were drawn by their outline: two lines an even distance apart, with arcs about one centre at bends.

`pieces` takes drawn curves apart and joins what was split, `pairs` finds what runs side by side, `tubes` makes tubes
of pairs, `centerlines` the curves halfway between their sides.
"""

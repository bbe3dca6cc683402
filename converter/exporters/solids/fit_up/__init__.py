"""How the cut ends of a job fit, measured on the coped solids.

`measure` measures each joint and looks for clashes, of `equal_joints` one. So that the CAD kernel is asked little,
`off_metal` tells how far points lie from a tube, and `least_gap` where an end comes nearest to its mates.
"""

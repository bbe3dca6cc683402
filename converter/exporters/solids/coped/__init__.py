"""Solids with their ends cut to fit and their holes cut.

`ends` cuts the ends of one tube; `behind_bends` has the tools where it lands on a bend, `own_ends` takes its metal
apart where an end lands on the tube itself. `bodies` cuts all of a job, equal ones once, and the holes.
"""

"""Curves joined head to tail.

`edges` gathers curves and the nodes that their ends meet in. `dedupe` drops what is drawn twice or lies on others:
`carriers` finds it, `overlap` decides what stays. `junctions` decides which end goes on into which, not where both lie
on another curve (`passing`). `chain` walks them, and `remarks` has what is told of all that.
"""

"""Rows of vertices as straights and arcs.

`rows` makes the pieces of a chain. A row of vertices is split at once where it is exact or tells corners (`segment`);
else it becomes tangent chains of few pieces (`tangent_row`): `divisions` proposes how many and where they meet, and
`follow` makes a tube of each. `dense` says which vertices tell directions at all, `looser` whether a wider tolerance
makes few bends.
"""

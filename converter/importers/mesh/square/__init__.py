"""Square and rectangular tube, and square and flat bar, in a mesh: cut across, followed, fitted and proven.

Cuts across it show rectangles (`cuts`); they are followed from one place to the next (`follow`), which gives a first
table; all its numbers and those of the section are fitted to the vertices (`rows`, `fit`); walls, volume and ends are
proven on the mesh itself (`proof`, `measure`).
"""

"""Shapes built face by face: tube solids and centerlines."""

"""Drawings to scale as DXF: centerlines, flat profiles, stick and cope templates."""

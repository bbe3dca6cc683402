"""Finished tube solids back to bend tables: faces, axes, chains of pieces, ends, and the proof."""

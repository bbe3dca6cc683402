"""Frozen values that check themselves: curves, drawings, bend tables, runs, sections, tubes."""

"""Findings about tubes against the shop: one file per family of checks, one registry."""

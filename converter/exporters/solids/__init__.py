"""Tubes as solids and meshes: as drawn, and with their ends cut to fit."""

"""IGES: curves, surfaces and solids."""

"""STEP files: bounds before the kernel sees them, a trial in a process of its own, centerlines and solids."""

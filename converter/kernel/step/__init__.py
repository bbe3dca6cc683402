"""STEP files to the kernel's shapes and back: products, places, names, units."""

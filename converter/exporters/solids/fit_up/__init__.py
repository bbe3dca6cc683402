"""How the cut ends of a job fit, measured on the coped solids."""

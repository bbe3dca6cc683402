"""Pictures of runs and drawings: flat, in millimetres of paper, shown as SVG, PNG or in a PDF."""

"""Pictures as SVG, PNG, and on a page of a PDF."""

"""Paper: typefaces, pages, cope templates at full size."""

"""Tables: bends or points as CSV, our own JSON."""

"""A made tube against the drawn one: laid on each other, bend by bend, judged, and what to set for the next piece."""

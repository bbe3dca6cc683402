"""The cut of an end: where its lines meet the mate, unrolled onto paper, and how it is turned."""

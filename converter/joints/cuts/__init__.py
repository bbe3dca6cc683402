"""The cut of an end: where its lines meet the mate, and how it is turned."""

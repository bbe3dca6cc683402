"""Tables and answers as plain data: CSV, and the JSON that other programs read."""

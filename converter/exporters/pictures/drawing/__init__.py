"""The drawing as read, as a picture: what became of each curve, and what is told of it."""

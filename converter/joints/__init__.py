"""Where tubes meet: finding the joints of a frame, the curves their ends are cut to, hole saws and lengths."""

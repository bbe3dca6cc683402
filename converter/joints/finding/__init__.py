"""The joints of a frame: what ends touch, and who is cut to whom."""

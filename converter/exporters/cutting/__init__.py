"""The cutting list as files: the diagram of its bars, and the page for the saw."""

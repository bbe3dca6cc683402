"""One file per format read, one registry."""

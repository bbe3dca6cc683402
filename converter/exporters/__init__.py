"""One file per format written, one registry."""

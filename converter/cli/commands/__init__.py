"""A thin file for each command."""

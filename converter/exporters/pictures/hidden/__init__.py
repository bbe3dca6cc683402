"""Which lines of a tube are seen and which are hidden."""

"""A page on this machine: drop a drawing, see its job sheet, take its files. Nobody else can reach it."""

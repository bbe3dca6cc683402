"""How near tubes come to one another, and where they overlap deepest."""

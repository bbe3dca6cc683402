"""Pictures of one tube: isometric, three views, list of bends, the stick."""

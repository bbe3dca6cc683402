"""Room to swing: how near a tube comes to what stands around while it is bent, and the order that leaves most."""

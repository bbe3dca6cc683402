"""What the shop owns: dies, machine, metals, pipe sizes, job files."""

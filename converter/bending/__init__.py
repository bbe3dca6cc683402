"""What the bender really does: springback, set-up, order, sweep, capacity."""

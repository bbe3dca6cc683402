"""What the metal does: springback, the moment it takes, thinning."""

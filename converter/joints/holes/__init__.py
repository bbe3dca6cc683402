"""The holes that tubes need where others pass through."""

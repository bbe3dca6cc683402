"""Pieces cut from bars: which from which, so that least is bought, with a proven bound."""

"""Tubes that cross or run into each other where nothing joins them."""

"""Curves joined head to tail: ends and nodes, duplicates that drop out, junctions, and what is told of them."""

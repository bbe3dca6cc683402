"""Pieces as one tube: directions shared where they meet, then all numbers of its table adjusted by least squares."""

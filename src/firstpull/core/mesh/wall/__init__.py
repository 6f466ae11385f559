"""Walls: given to open surfaces, made thicker, hollowed out."""

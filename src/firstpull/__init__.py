"""Firstpull: from a digital mesh to numbered castings."""

__version__ = "0.1.0"

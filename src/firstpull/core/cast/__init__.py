"""Coats, mixes, batches and the weight of a pull."""

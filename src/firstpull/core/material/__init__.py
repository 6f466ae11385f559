"""Material rows: each figure with its unit, spread, source and mark."""

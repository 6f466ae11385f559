"""Is the mesh sound, and how big is it? Knows triangles, not the trade."""

"""Lines of a mesh: sections and outlines."""

"""What is wrong with a mesh, where, and what to do about it."""

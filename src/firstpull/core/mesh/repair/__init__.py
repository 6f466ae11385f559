"""Single repairs: each takes a mesh and gives one back."""

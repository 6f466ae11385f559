"""A folder that remembers jobs: a database, the meshes that came in, and the runs."""

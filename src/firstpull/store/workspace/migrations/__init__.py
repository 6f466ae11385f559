"""How the database came to its present tables, one step a file under versions."""

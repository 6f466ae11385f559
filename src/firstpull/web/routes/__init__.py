"""The addresses of the interface, a file for each noun."""

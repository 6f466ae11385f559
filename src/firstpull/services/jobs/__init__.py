"""Jobs of a workshop: what is kept of each, what is being worked out, and what comes next."""

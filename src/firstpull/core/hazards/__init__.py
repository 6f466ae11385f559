"""What can hurt, and the usual cautions. Never a promise of safety."""

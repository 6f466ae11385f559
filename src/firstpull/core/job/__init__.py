"""What is remembered of a job between one day and the next."""

"""Results kept by content, so that only what changed is worked out again."""

"""How does a part sit on the one who wears it: a plain head from survey measures."""

"""The printed packet and its pictures: a plan in, pages out. Translates, never calculates."""

"""Mending: the repairs in their order, to one solid that is proved sound."""

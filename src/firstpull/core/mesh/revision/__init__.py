"""How surfaces lie to each other: revisions, mirror images, coarser copies."""

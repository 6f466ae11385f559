"""From a sound master to body, skin and shell, with proof that each piece comes off."""

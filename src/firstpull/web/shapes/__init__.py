"""The shapes of what goes over the wire, as the interface's document tells them."""

"""Files become checked tables here; nothing past this room opens an input."""

"""Where the tile lies, and where on it each patch is looked for."""

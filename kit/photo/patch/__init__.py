"""One patch: its edge, its face, and how far they can be trusted."""

"""The photo card: its geometry, its marks, how it is drawn and how it is found."""

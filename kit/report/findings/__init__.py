"""What was found, as small objects that every output renders."""

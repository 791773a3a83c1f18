"""All series together: read as one, and the page over all of them."""

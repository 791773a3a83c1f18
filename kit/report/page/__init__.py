"""A document and how it is set: as a web page, on paper, and its look."""

"""What the measurements of a series say together, and what a person decides on them."""

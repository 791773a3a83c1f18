"""One photograph, a folder of them, and those of a series, measured."""

"""The type of a picture in memory."""

from typing import Any

from numpy.typing import NDArray

Raster = NDArray[Any]
"""A picture or one of its layers. OpenCV's type hints leave the number type open, so docstrings
give it."""

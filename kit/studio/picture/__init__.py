"""Photographs of invented tiles on the photo card, with the truth beside them."""

from kit.studio.picture.camera import Camera
from kit.studio.picture.fired_tile import PatchLook, TileLook
from kit.studio.picture.lighting import Lighting
from kit.studio.picture.scene import Photograph, Setting, photograph

__all__ = ["Camera", "Lighting", "PatchLook", "Photograph", "Setting", "TileLook", "photograph"]

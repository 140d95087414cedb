"""Reads IFC models of several trades into one frame: words, bodies, grid. Only this package knows ifcopenshell."""

from checker.model import ModelFile
from checker.read.reading import Reading, open_models

__all__ = ["ModelFile", "Reading", "open_models"]

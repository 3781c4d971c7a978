"""Pictures of gears with stated faults, and their truth.

A scene (`scene`) is cut (`cutting`, `body`), drawn (`picture`, with `coverage`, `lens`, `surface`
and `dirt`) and measured (`measure`, `truth`); `write` puts picture and truth into files.
"""

from cogloupe.simulation.coverage import area_coverage
from cogloupe.simulation.picture import Rendered, render, render_scene
from cogloupe.simulation.scene import Camera, Faults, GearSpec, Scene, example_scene, load_scene
from cogloupe.simulation.truth import Truth
from cogloupe.simulation.write import simulate, simulate_files

__all__ = [
    "Camera",
    "Faults",
    "GearSpec",
    "Rendered",
    "Scene",
    "Truth",
    "area_coverage",
    "example_scene",
    "load_scene",
    "render",
    "render_scene",
    "simulate",
    "simulate_files",
]

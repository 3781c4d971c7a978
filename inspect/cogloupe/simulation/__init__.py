"""Pictures of gears with stated faults, and their truth."""

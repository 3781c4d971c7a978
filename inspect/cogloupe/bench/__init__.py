"""The local page: everything that the command line does, in a browser on the same machine.

`server` puts it together, `guard` keeps others out, `gears_folder` knows the one folder that is
read and written, `work` does what a person asks, `camera` looks through a microscope. Only the
command that starts it imports this room: its web framework is slow to import.
"""

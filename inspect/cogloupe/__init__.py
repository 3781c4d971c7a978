"""Cogloupe reads photographs of small cut gears, tooth by tooth.

In a notebook the whole job is a few lines, with nothing but what is public here:

>>> from pathlib import Path
>>> from cogloupe import inspect_photo, make_settings, read_photo
>>> photo = read_photo(Path("sample_images/day-wheel-48dp-21.jpg"))
>>> reading, drawing = inspect_photo(photo, make_settings({"teeth": 21, "dp": 48}))
>>> reading.verdict.dominant.kind
'nothing_to_mend'

What is public is listed, with its types, in `__init__.pyi`, and imported when it is first used.
The rooms of the package, and the way a photograph takes through them, are told in DEVELOPERS.md.
"""

from importlib.metadata import version

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
__version__ = version("cogloupe")

"""Cogloupe reads photographs of small cut gears, tooth by tooth.

The work runs one way, each step a module: photograph (`photo`), edge points (`segment`,
`edges`), teeth (`teeth`), deviations (`deviations`, `gaps`), reading (`reading`), report.
"""

from importlib.metadata import version

__version__ = version("cogloupe")

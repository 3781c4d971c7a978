"""Tolerances that many tests share, with their reasons; others say theirs where they stand."""

ROUNDING = 1e-12
"""Between two ways to the same figure: doubles hold 1e-16 of it, and some hundred operations on
values up to a hundred leave 1e-14. Whatever differs by more differs by its formula."""
SOLVED = 1e-9
"""Between a figure and one solved for by steps, which end where they no longer change it by a
thousandth of this; and the same where differences of near values lose three more digits."""

"""Errors that a person can cause, and can mend."""


class CogloupeError(Exception):
    """Something a person can put right; the message says what, what was seen, and what to do."""


class UseError(CogloupeError):
    """The command or a settings file was used wrongly (exit status 2)."""


class PhotoError(CogloupeError):
    """A photograph could not be read or measured (exit status 1)."""


class CalibrationError(CogloupeError):
    """A calibration could not be made, or cannot serve the picture (exit status 1)."""

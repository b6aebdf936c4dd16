"""What is raised when the input itself is wrong; "does not fit" is an answer, never an error."""

__all__ = [
    "BadValueError",
    "BlockfitError",
    "MissingExtraError",
    "OpenSurfaceError",
    "UnitNeededError",
    "UnknownStoneError",
    "UnreadableFileError",
]


class BlockfitError(Exception):
    """Root of every error blockfit raises on purpose; the message names the value and the way out."""


class BadValueError(BlockfitError, ValueError):
    """A length, ratio, cover or other option that has no meaning."""


class UnitNeededError(BlockfitError, ValueError):
    """A file or a number without a unit."""


class UnknownStoneError(BlockfitError, LookupError):
    """A stone that is not in the table."""


class UnreadableFileError(BlockfitError, OSError):
    """A file that is missing, cut short, or holds no figure."""


class OpenSurfaceError(BlockfitError, ValueError):
    """A figure without an inside, so that its volume and weight mean nothing."""


class MissingExtraError(BlockfitError, ImportError):
    """A package that an extra would install is missing."""

"""What the page asked for and cannot be done."""

from drawing.errors import ScantlingError


class CommandError(ScantlingError):
    """A command that is malformed, or is about something that is not there."""


class SessionError(ScantlingError):
    """A job that cannot be opened or kept."""

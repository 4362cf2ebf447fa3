"""What can be wrong with a job or its folder."""

from drawing.errors import ScantlingError


class JobError(ScantlingError):
    """A job file, option or folder that cannot be used."""

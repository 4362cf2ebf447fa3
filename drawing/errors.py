"""The base error class: everything a person can be told in one sentence and act on."""


class ScantlingError(Exception):
    """Bad input, said in one sentence: what was found; what was needed; what to do next.

    Each room has one subclass. Only this class is caught by the commands; any
    other exception is a bug and shows its traceback.
    """


class DrawingError(ScantlingError):
    """A length, fraction, path or drawing that cannot be."""

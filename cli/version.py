"""The version of Scantling, written once."""

__version__ = "0.1.0"

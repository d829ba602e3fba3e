"""The version, in one place, so that an uninstalled checkout knows it too."""

__version__ = "0.1.0"

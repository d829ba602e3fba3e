"""The pages: show what the office knows, hand it what is entered. Nothing is computed here."""

from tierpole.web.app import create_app
from tierpole.web.serving import Door, serve

__all__ = ["Door", "create_app", "serve"]

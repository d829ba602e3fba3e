"""The pages: read the office, show what it knows. Nothing is computed or changed here."""

from tierpole.web.app import create_app
from tierpole.web.serving import serve

__all__ = ["create_app", "serve"]

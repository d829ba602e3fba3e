"""Books made again from an open package: its journal and contents, every hash checked."""

from __future__ import annotations

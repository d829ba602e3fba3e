"""What hangs: the sticks already up, and any hanging a plan wants to look at, dried hour by hour."""

from __future__ import annotations

"""Named streams of random numbers, so that a new use of chance does not shift the old ones."""

from __future__ import annotations

import zlib

import numpy as np


def stream(seed: int, name: str) -> np.random.Generator:
    """The random stream of a `name` under a `seed`: same seed and name, same numbers."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])

"""How total CBD and total THC run through flowering: two curves tied by one ratio.

Shares are of dry weight in the official top (0.003 is 0.3 %); days count from flower initiation.
A farm that counts from the first visible pistils is about 8 days later on this axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def thc_peak(cbd_plateau: Array | float, cbd_to_thc: Array | float) -> Array | float:
    """Highest total THC of a lot.

    Parameters
    ----------
    cbd_plateau : total CBD at maturity [share of dry weight]
    cbd_to_thc : the variety's CBD to THC ratio when THC peaks [1]

    Returns
    -------
    total THC at its peak [share of dry weight], broadcast

    Equation: Tm = C / r.

    Source: THC is a by-product of the plant's CBDA synthase, so the ratio belongs to the variety:
    de Meijer et al. 2003 and Toth et al. 2020 (GCB Bioenergy 12:213), from memory; CBD and THC go
    together with R2 0.88-0.98 within cultivars (Agrosyst. Geosci. Environ. March 2023).
    """
    return cbd_plateau / cbd_to_thc


def cbd_course(
    days_flowering: Array, plateau: Array | float, rate: Array | float, midpoint: Array | float
) -> Array:
    """Total CBD through flowering.

    Parameters
    ----------
    days_flowering : days since flower initiation [d]
    plateau : total CBD at maturity [share of dry weight]
    rate : relative rate of rise at first [1/d]
    midpoint : days at half of the plateau [d]

    Returns
    -------
    total CBD [share of dry weight], broadcast

    Equation: C / (1 + exp(-k (tau - t0))).

    Source: logistic as best fit and without decline, Linder, Young, Li, Inoa & Suchoff 2022,
    Horticulturae 8(10):959.
    Valid range: 14 to 98 d after initiation, the harvests of that trial.
    """
    return plateau / (1.0 + np.exp(rate * (midpoint - days_flowering)))


def thc_course(
    days_flowering: Array,
    peak: Array | float,
    peak_day: Array | float,
    steepest: Array | float,
    fall: Array | float,
) -> Array:
    """Total THC through flowering.

    Parameters
    ----------
    days_flowering : days since flower initiation [d]
    peak : highest total THC [share of dry weight]
    peak_day : days at which it is reached [d]
    steepest : days of the steepest rise, as a share of `peak_day` [1]
    fall : relative rate of fall after the peak [1/d]

    Returns
    -------
    total THC [share of dry weight], broadcast; 0 before initiation

    Equation: Tm (1 + (te - tau)/(te - tm)) (tau/te)^(te/(te - tm)) up to te, then
    Tm exp(-d (tau - te)).

    Source: beta growth of Yin, Goudriaan, Lantinga, Vos & Spiertz 2003, Ann. Bot. 91:361, the
    best fit of Linder et al. 2022, Horticulturae 8(10):959 (form from memory).
    Departure: the beta form falls to nothing within weeks of its peak, where Yang et al. 2020
    (J. Agric. Food Chem., doi 10.1021/acs.jafc.0c01211) saw a plateau and a slow decline, so the
    fall is replaced.
    """
    power = 1.0 / (1.0 - steepest)
    reached = np.clip(days_flowering / peak_day, 0.0, 1.0)
    rise = (1.0 + (1.0 - reached) * power) * reached**power
    return peak * rise * np.exp(-fall * np.maximum(days_flowering - peak_day, 0.0))

"""Heat and moisture of air in one number: equivalent and wet-bulb potential temperature, which tell air masses apart."""

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats

ZERO_C_K = 273.15
EPSILON = 0.622
KAPPA = 0.2854
# Fit of wet-bulb potential temperature to equivalent potential temperature: source theta-w-1.
FIT_ABOVE = (7.101574, -20.68208, 16.11182, 2.574631, -5.205688)
FIT_BELOW = (1.0, -3.552497, 3.781782, -0.6899655, -0.5929340)
DRIEST_KGKG = 1e-6  # keeps the logarithm of a zero humidity finite; far below any air at 850 hPa
HIGHEST_K = 400.0  # beyond any air there is: taken for a broken value


def saturation_hpa(temperature_k: ArrayLike) -> Floats:
    """Temperature [K] -> saturation vapour pressure over water [hPa], same shape. Source: bolton-1.

    >>> round(float(saturation_hpa(293.15)), 2)
    23.37
    """
    celsius = np.asarray(temperature_k, dtype=float) - ZERO_C_K
    return np.asarray(6.112 * np.exp(17.67 * celsius / (celsius + 243.5)))


def dew_point_k(vapour_hpa: ArrayLike) -> Floats:
    """Vapour pressure [hPa] -> dew point [K], same shape. Source: bolton-1, inverted.

    >>> round(float(dew_point_k(saturation_hpa(285.0))), 6)
    285.0
    """
    log = np.log(np.asarray(vapour_hpa, dtype=float) / 6.112)
    return np.asarray(243.5 * log / (17.67 - log) + ZERO_C_K)


def vapour_hpa(pressure_hpa: ArrayLike, humidity_kgkg: ArrayLike) -> Floats:
    """Pressure [hPa], specific humidity [kg/kg] -> vapour pressure [hPa]; humidity below a millionth (packing makes it negative)
    counts as a millionth.

    >>> round(float(vapour_hpa(850.0, 0.01)), 2)
    13.58
    """
    humidity = np.fmax(np.asarray(humidity_kgkg, dtype=float), np.where(np.isnan(humidity_kgkg), np.nan, DRIEST_KGKG))
    ratio = humidity / (1.0 - humidity)
    return np.asarray(np.asarray(pressure_hpa, dtype=float) * ratio / (EPSILON + ratio))


def theta_e_k(pressure_hpa: ArrayLike, temperature_k: ArrayLike, dew_point: ArrayLike) -> Floats:
    """Pressure [hPa], temperature and dew point [K], shapes that broadcast -> equivalent potential temperature [K].

    A dew point above the temperature (packing, interpolation) is taken for saturation. Source: bolton-1.

    >>> round(float(theta_e_k(1000.0, 293.0, 280.0)), 2)
    311.19
    """
    pressure, warm = np.asarray(pressure_hpa, dtype=float), np.asarray(temperature_k, dtype=float)
    dew = np.minimum(np.asarray(dew_point, dtype=float), warm)
    vapour = saturation_hpa(dew)
    ratio = EPSILON * vapour / (pressure - vapour)
    level = 1.0 / (1.0 / (dew - 56.0) + np.log(warm / dew) / 800.0) + 56.0
    dry = warm * (1000.0 / (pressure - vapour)) ** KAPPA * (warm / level) ** (0.28 * ratio)
    return np.asarray(dry * np.exp((3036.0 / level - 1.78) * ratio * (1.0 + 0.448 * ratio)))


def theta_w_k(theta_e: ArrayLike) -> Floats:
    """Equivalent potential temperature [K] -> wet-bulb potential temperature [K], same shape. Source: theta-w-1.

    >>> round(float(theta_w_k(332.89)), 2)
    292.43
    """
    warm = np.asarray(theta_e, dtype=float)
    x = np.where((warm > 173.15) & (warm < HIGHEST_K), warm, np.nan) / ZERO_C_K
    above = sum((a * x**i for i, a in enumerate(FIT_ABOVE)), np.zeros(x.shape))
    below = sum((b * x**i for i, b in enumerate(FIT_BELOW)), np.zeros(x.shape))
    return np.asarray(warm - np.exp(above / below))

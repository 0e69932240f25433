r"""Airborne sea salt: chloride deposition from distance, openness, wind, height and terrain.

Deposition S on a wet candle, in mg Cl/(m² d), is lognormal. Its median adds five parts,

.. math:: S = \underbrace{f_o^* f_w f_h^* f_s\, P\, e^{-d/p}}_{\text{spray}}
          + \underbrace{f_o f_w f_h f_s\, A\, (1 + D/a)^{-2}}_{\text{surf}}
          + f_z \big(\underbrace{f_w\, B\, e^{-d/b}}_{\text{far travelled}}
          + \underbrace{F\, e^{-d/c}}_{\text{inland}}\big) + R,
          \qquad D = \sqrt{d^2 + d_0^2}

*Spray.* Drops from breakers that wet a place outright, a few tens of metres from surf on a shore
open to waves; a sheltered shore has none. Wet candles stand under a roof (ISO 9225, from memory)
and miss most of it, so it is no part of the fit: it is judged against collectors in the open (1023
near the shore of Norfolk Island, 23 to 37 beyond 400 m) and against steel, which has lost 295 to
1070 µm/y on surf beaches (data/calibration/steel_losses.csv, from memory). Openness cannot tell a
surf beach from a calm straight shore, so these losses lie in the upper part of its wide spread.

*Surf.* Coarse drops torn from breakers fall out within a few hundred metres (Gustafsson and
Franzén 1996 separate them from the fine part). A single exponential in distance fits station
means poorly (R² 0.2 to 0.3) and a hyperbola or power law well; the square of a hyperbola lies
between the two. D makes the curve finite and flat at the shore.

*Far travelled.* Fine droplets stay aloft for tens to hundreds of kilometres. Keywood and others
(1997) found a fast and a slow exponential over 18 sites of Western Australia.

*Inland and residue.* What remains deep inland, of any origin, falls on slowly: bulk collectors
catch below 0.3 mg/(m² d) in the interior of Australia (Keywood) and 0.55 to 1.37 in the centre of
Spain (Alcalá and Custodio 2008).

A, a, B and F are fitted (notebooks/salt_calibration.ipynb) to station medians of ISOCORRAG (ASTM
DS68, 2010), MICAT (1998) and Cole and others (2003), 86 stations in seven bins of distance, read
through a secondary compilation **whose units were inferred**. P, p, b, c, d0, R and the power are
set, not fitted: the bins cannot tell them apart.

The factors f are 1 where nothing is known. None of them is calibrated, because positions of the
stations were not available; each says below where it comes from.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.science.distributions import Lognormal
from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, number, numbers

FAR_SCALE_M = 100e3  # b, judgement: 50 to 200 km fit about equally
FLOOR_SCALE_M = 500e3  # c, judgement: 400 to 1000 km predict a bin left out better than none
RESIDUE_MG_M2_D = 0.2  # R, judgement: below Keywood's 1 kg/(ha y) = 0.27 in inner Australia
SPRAY_MG_M2_D = 1000.0  # P, judgement: see SPRAY_SIGMA_LN
SPRAY_SCALE_M = 30.0  # p, judgement: "a few tens of metres"
SURF_POWER = 2.0  # judgement: 1 to 3 fit about equally
SHORE_M = 30.0  # d0, judgement: the nearest stations stand some tens of metres from the water


class Curve(NamedTuple):
    """Parameters of the median deposition, mg/(m² d) and m: four fitted, six set."""

    surf: float
    surf_scale_m: float
    far: float
    floor: float
    far_scale_m: float = FAR_SCALE_M
    surf_power: float = SURF_POWER
    spray: float = SPRAY_MG_M2_D
    spray_scale_m: float = SPRAY_SCALE_M
    floor_scale_m: float = FLOOR_SCALE_M
    residue: float = RESIDUE_MG_M2_D


CURVE = Curve(surf=263.0, surf_scale_m=282.0, far=1.49, floor=6.74)
"""The fit to all seven bins; the notebook refits it."""

SPREAD_SIGMA_LN = 0.93
"""Standard deviation of ln S between stations at one distance: pooled over the bins."""
CURVE_SIGMA_LN = 0.27
"""Standard error of the fitted ln median, root mean square over the bins' distances."""
SIGMA_LN = float(np.hypot(SPREAD_SIGMA_LN, CURVE_SIGMA_LN))
"""Standard deviation of ln S away from the spray where only the distance is known: a factor of
2.6."""
SPRAY_SIGMA_LN = 1.5
"""Standard deviation of ln(spray) beside that. Judgement, with `SPRAY_MG_M2_D`: so that the five
published losses of steel on surf beaches lie between the 80th and the 99th percentile (a test
checks it), as the known extremes among shores that openness cannot tell apart."""

OPENNESS_OF_A_STRAIGHT_COAST = 0.5  # geometry: half of all directions
SHELTERED_SHARE = 0.2  # judgement: of the surf part, where no open sea is in sight
OPENNESS_SIGMA_LN = 0.41  # of ln(openness factor), openness even over 0.1 to 0.9: worked out
SHELTERED_FROM_SPRAY = 0.2  # judgement: openness up to which there is no spray (a bay, a ria)

WIND_PER_M_S = 0.16  # ships in the North Atlantic 1974/75 (Tellus, 1978)
WIND_ONSET_M_S = 3.0  # Meira and others (2006)
WIND_LIMIT_M_S = 15.0  # judgement: no mean wind is stronger
WIND_REFERENCE_M_S = 6.6
"""Area mean of the COADS climatology of 1997 over the oceans, 2 degrees."""

HEIGHT_WITHOUT_GRADIENT_M = 15.0  # no gradient below (California Channel)
HEIGHT_SCALE_M = 100.0  # judgement on conflicting evidence
SPRAY_HEIGHT_SCALE_M = 30.0  # judgement: surf's aerosol stays low (Tedeschi and others 2017)
HEIGHT_DOUBT = 0.5  # judgement: share of a decrease with height that joins the spread

ELEVATION_WITHOUT_GRADIENT_M = 200.0  # judgement: stations of the fit are taken to stand below
ELEVATION_SCALE_M = 500.0  # judgement, on the centre of Spain (Alcalá and Custodio 2008)
INLAND_SCALE_M = 50e3  # judgement: near the coast mountains comb out the salt

TERRAIN_FOLD = 30.0  # around Wanning, the full range (Equipment Environmental Engineering 2023)


class Parts(NamedTuple):
    """Parts of the median deposition, mg/(m² d)."""

    spray: Floats
    surf: Floats
    far: Floats
    floor: Floats
    residue: Floats


DEPOSITION = {"median": "mg m-2 d-1", "sigma_ln": "1"}


@labelled(dict.fromkeys(Parts._fields, "mg m-2 d-1"), returns=Parts)
def distance_curve(coast_distance_m: Values, curve: Curve = CURVE) -> Parts:
    """Spray, surf, far-travelled, inland part and residue of the median, all factors 1.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m; below 0 counts as 0.
    curve : Curve
        Parameters, by default the fit to all bins.

    Returns
    -------
    Parts
        mg Cl/(m² d); their sum is the median. NaN stays NaN.

    References
    ----------
    Fit to ISOCORRAG (ASTM DS68, 2010), MICAT (1998) and Cole and others (2003): see the module.

    Examples
    --------
    >>> [round(float(part), 1) for part in distance_curve(50.0)]
    [188.9, 180.6, 1.5, 6.7, 0.2]
    """
    d = np.maximum(number(coast_distance_m), 0.0)
    return Parts(
        spray=curve.spray * np.exp(-d / curve.spray_scale_m),
        surf=curve.surf * (1 + np.hypot(d, SHORE_M) / curve.surf_scale_m) ** -curve.surf_power,
        far=curve.far * np.exp(-d / curve.far_scale_m),
        floor=curve.floor * np.exp(-d / curve.floor_scale_m),
        residue=curve.residue + 0.0 * d,
    )


@labelled(DEPOSITION, returns=Lognormal)
def chloride(
    coast_distance_m: Values,
    *,
    sea_openness: Values = np.nan,
    wind_speed_m_s: Values = np.nan,
    height_above_sea_m: Values = np.nan,
    shielding: Values = np.nan,
    elevation_m: Values = np.nan,
    salt_share: Values = 1.0,
) -> Lognormal:
    """Chloride deposition as a lognormal: median and spread.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m.
    sea_openness : array_like, optional
        Share of directions with open sea, 0 to 1; a straight coast has 0.5 at the water.
        NaN: as a straight coast, with the whole spread.
    wind_speed_m_s : array_like, optional
        Mean wind speed over the sea nearby, m/s. NaN: the mean of the oceans.
    height_above_sea_m : array_like, optional
        Height above the sea, m. NaN: no decrease with height.
    shielding : array_like, optional
        0 where terrain leaves the sea in sight, 1 where it hides all of it. NaN: 0.
    elevation_m : array_like, optional
        Elevation of the ground above sea level, m; acts inland only (`elevation_factor`), where
        `height_above_sea_m` acts near the shore. NaN: no decrease.
    salt_share : array_like, optional
        Salt of the water over that of the ocean; scales what comes from the water (assumption).

    Returns
    -------
    median : array_like
        mg Cl/(m² d), positive; NaN where the distance is NaN.
    sigma_ln : array_like
        Standard deviation of ln S.

    Notes
    -----
    Median, 10th and 90th percentile never increase with distance and never decrease with
    openness or wind; the median never increases with height or elevation (both widen the spread,
    so that the 90th percentile may).

    The spread is `SIGMA_LN`, less what a known openness explains of the surf part, plus that of
    the spray by its share (on a shore more open than a straight one, by the share it would have
    there, so that knowing the openness never makes less sure).

    References
    ----------
    The equation and its sources stand at the top of the module.

    Examples
    --------
    >>> median, sigma_ln = chloride(100.0)
    >>> round(float(median)), round(float(sigma_ln), 2)
    (184, 1.01)
    """
    coast_distance_m, sea_openness, salt_share = numbers(coast_distance_m, sea_openness, salt_share)
    spray, surf, far, floor, residue = distance_curve(coast_distance_m)
    wind, shield = wind_factor(wind_speed_m_s), shielding_factor(shielding)
    height, low = height_factor(height_above_sea_m), spray_height_factor(height_above_sea_m)
    thin = elevation_factor(elevation_m, coast_distance_m)
    spray, surf, far = spray * salt_share, surf * salt_share, far * salt_share
    spray = spray * wind * low * shield
    waves = spray_openness_factor(sea_openness)
    ordinary = spray * np.minimum(waves, 1.0)
    spray = spray * waves
    surf = surf * openness_factor(sea_openness) * wind * height * shield
    inland = (far * wind + floor) * thin
    rest = surf + inland + residue
    median = spray + rest
    known = 1.0 - np.isnan(sea_openness)
    spray_share = ordinary / (ordinary + rest)
    surf_share, inland_share = surf / median, inland / (inland + residue)
    variance = (
        SIGMA_LN**2
        - known * (OPENNESS_SIGMA_LN * surf_share) ** 2
        + (SPRAY_SIGMA_LN * spray_share) ** 2
        + (HEIGHT_DOUBT * np.log(height) * surf_share) ** 2
        + (HEIGHT_DOUBT * np.log(thin) * inland_share) ** 2
    )
    return Lognormal(median, np.sqrt(variance))


@labelled("1")
def openness_factor(sea_openness: Values) -> Floats:
    r"""Factor on surf deposition for the share of directions that are open sea.

    .. math:: f_o = \varphi + (1 - \varphi)\, o / 0.5, \qquad \varphi = 0.2

    Parameters
    ----------
    sea_openness : array_like
        o, 0 to 1.

    Returns
    -------
    array_like
        0.2 to 1.8; 1 at 0.5 and where unknown.

    Notes
    -----
    Derivation: with breakers alike on all shores in sight and wind from all sides alike, the
    salt that passes is proportional to the open directions. The rest, 0.2, reaches shores with no
    open sea: small waves, and fjords are a source too (western Norway, storms of 1986/87).
    0.2 is our judgement. No station position was available to test it.

    `OPENNESS_SIGMA_LN` is the standard deviation of ln f_o when o is uniform over 0.1 to 0.9;
    knowing o takes that variance out of the spread (law of total variance: all sites
    together keep the calibrated spread).

    References
    ----------
    Derived (see Notes); the share of 0.2 is judgement.

    Examples
    --------
    >>> float(openness_factor(0.5)), round(float(openness_factor(1.0)), 2)
    (1.0, 1.8)
    """
    above = _nan_to_zero(number(sea_openness) - OPENNESS_OF_A_STRAIGHT_COAST)
    return 1.0 + (1 - SHELTERED_SHARE) * above / OPENNESS_OF_A_STRAIGHT_COAST


@labelled("1")
def spray_openness_factor(sea_openness: Values) -> Floats:
    r"""Factor on spray for the share of directions that are open sea.

    .. math:: f_o^* = \max(0,\, (o - 0.2) / 0.3)

    Parameters
    ----------
    sea_openness : array_like
        o, 0 to 1.

    Returns
    -------
    array_like
        0 up to 0.2, 1 at 0.5 and where unknown, 2.67 at 1.

    Notes
    -----
    Openness stands in for the waves, which no layer gives: deposition near one shore went with the
    square of wave height (Feliu, Morcillo and Chico 2001, abstract), and fetch makes waves. The
    line, and 0.2 as the end of surf (a bay, a ria), are judgement.

    References
    ----------
    Judgement, after Feliu, Morcillo and Chico (2001), abstract.

    Examples
    --------
    >>> [round(float(spray_openness_factor(o)), 2) for o in (0.1, 0.5, 1.0)]
    [0.0, 1.0, 2.67]
    """
    above = _nan_to_zero(number(sea_openness) - OPENNESS_OF_A_STRAIGHT_COAST)
    return np.maximum(1.0 + above / (OPENNESS_OF_A_STRAIGHT_COAST - SHELTERED_FROM_SPRAY), 0.0)


@labelled("1")
def wind_factor(wind_speed_m_s: Values) -> Floats:
    r"""Relative factor on surf and far-travelled deposition for the mean wind over the sea.

    .. math:: f_w = e^{0.16\,(u - 6.6)}, \qquad 3 \le u \le 15 \text{ m/s}

    Parameters
    ----------
    wind_speed_m_s : array_like
        Mean wind speed u, m/s; limited to 3 to 15.

    Returns
    -------
    array_like
        1 at the oceans' mean of 6.6 m/s and where unknown.

    Notes
    -----
    ln(salt concentration, µg/m³) = 0.16 u + 1.45 from ships in the North Atlantic 1974/75
    (Tellus, 1978); only its slope is used. Onset at 3 m/s: Meira and others (2006). Applied to
    a mean wind, not hour by hour. Not shown to improve the estimate (see the notebook), so
    callers leave the wind unknown unless the user asks for it; the spread takes no credit.

    References
    ----------
    Meira and others (2006), Atmospheric Environment.

    Examples
    --------
    >>> round(float(wind_factor(6.6 + 4.33)), 2)
    2.0
    """
    limited = np.clip(number(wind_speed_m_s), WIND_ONSET_M_S, WIND_LIMIT_M_S)
    return np.exp(WIND_PER_M_S * _nan_to_zero(limited - WIND_REFERENCE_M_S))


@labelled("1")
def height_factor(height_above_sea_m: Values) -> Floats:
    r"""Factor on surf deposition for the height above the sea.

    .. math:: f_h = e^{-\max(0,\, h - 15)/100}

    Parameters
    ----------
    height_above_sea_m : array_like
        Height above mean sea level, m.

    Returns
    -------
    array_like
        1 up to 15 m and where unknown, then down by 1/e each 100 m.

    Notes
    -----
    Between 1 and 15 m over the sea no gradient was found (California Channel). Above, published
    evidence conflicts (little salt at 30 m on one coast, a second maximum near 100 m on an
    island): the scale of 100 m is judgement, and half the decrease is added to the spread. Spray
    thrown up by waves against a cliff is not in any of the data.

    References
    ----------
    Judgement on conflicting evidence, see Notes.

    Examples
    --------
    >>> float(height_factor(15.0)), round(float(height_factor(115.0)), 2)
    (1.0, 0.37)
    """
    return np.exp(-_rise(height_above_sea_m, HEIGHT_WITHOUT_GRADIENT_M) / HEIGHT_SCALE_M)


@labelled("1")
def spray_height_factor(height_above_sea_m: Values) -> Floats:
    r"""Factor on spray for the height above the sea.

    .. math:: f_h^* = e^{-\max(0,\, h - 15)/30}

    Parameters
    ----------
    height_above_sea_m : array_like
        Height above mean sea level, m.

    Returns
    -------
    array_like
        1 up to 15 m and where unknown, then down by 1/e each 30 m.

    Notes
    -----
    Aerosol from the surf stays within the first few tens of metres above the surface (Tedeschi
    and others 2017, abstract); 30 m is judgement.

    References
    ----------
    Tedeschi and others (2017), abstract; 30 m is judgement.

    Examples
    --------
    >>> float(spray_height_factor(15.0)), round(float(spray_height_factor(45.0)), 2)
    (1.0, 0.37)
    """
    return np.exp(-_rise(height_above_sea_m, HEIGHT_WITHOUT_GRADIENT_M) / SPRAY_HEIGHT_SCALE_M)


@labelled("1")
def elevation_factor(elevation_m: Values, coast_distance_m: Values) -> Floats:
    r"""Factor on far-travelled and inland deposition for the elevation of the ground.

    .. math:: f_z = \exp\left(-\frac{\max(0, z - 200)}{500}\,(1 - e^{-d/50\,\mathrm{km}})\right)

    Parameters
    ----------
    elevation_m : array_like
        Elevation z above sea level, m.
    coast_distance_m : array_like
        Distance to the sea, m.

    Returns
    -------
    array_like
        1 up to 200 m, at the coast and where unknown; far inland down by 1/e each 500 m.

    Notes
    -----
    Sea air is mixed over half a kilometre to a kilometre. 500 m is judgement, taken so that the
    centre of Spain (about 650 m) comes within a factor of two of what bulk collectors catch
    there; the stations of the fit are taken to stand below 200 m. Near the coast mountains comb
    out the salt (Snowdonia: sea salt grows with rain on seaward slopes, abstract), so there is no
    decrease there. Half the decrease is added to the spread.

    References
    ----------
    Alcalá and Custodio (2008), Keywood and others (1997), abstracts; 500 m is judgement.

    Examples
    --------
    >>> [round(float(elevation_factor(700.0, d)), 2) for d in (400e3, 1e3)]
    [0.37, 0.98]
    """
    coast_distance_m, elevation_m = numbers(coast_distance_m, elevation_m)
    far_inland = 1.0 - np.exp(-np.maximum(coast_distance_m, 0.0) / INLAND_SCALE_M)
    rise = _rise(elevation_m, ELEVATION_WITHOUT_GRADIENT_M)
    return np.exp(-far_inland * (rise / ELEVATION_SCALE_M))


@labelled("1")
def shielding_factor(shielding: Values) -> Floats:
    """Factor on surf deposition where terrain stands between the place and the sea.

    .. math:: f_s = 30^{-s}

    Parameters
    ----------
    shielding : array_like
        0 (open) to 1 (sea wholly hidden).

    Returns
    -------
    array_like
        1 at 0 and where unknown, 1/30 at 1.

    Notes
    -----
    Around Wanning (Hainan) terrain made a 30-fold difference at one distance (Equipment
    Environmental Engineering, 2023, no. 2): taken as the full range; the path between is
    judgement. Unknown counts as open: stations of the calibration stand on clear ground.

    References
    ----------
    Equipment Environmental Engineering (2023), no. 2, abstract.

    Examples
    --------
    >>> round(float(1 / shielding_factor(1.0)), 6)
    30.0
    """
    return TERRAIN_FOLD ** -_nan_to_zero(shielding)


def _rise(height_m: Values, from_m: float) -> Floats:
    """Height above a level, m; 0 below it and where unknown."""
    return np.maximum(_nan_to_zero(number(height_m) - from_m), 0.0)


def _nan_to_zero(value: Values) -> Floats:
    found = number(value)
    return np.where(np.isnan(found), 0.0, found)

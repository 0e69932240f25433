"""Which coasts EN 1993-1-4 counts as mild, by towns on either side of the outlines.

EN 1993-1-4:2006+A1:2015, Table A.1 names the Baltic and Germany's North Sea coast. Positions are
from memory, to about 0.05 degrees.
"""

import pandas as pd
import pytest

from saltreach.layers.seas import LAYER, in_europe, is_mild_sea

MILD = {
    "Swinoujscie": (14.25, 53.91), "Roenne, Bornholm": (14.70, 55.10),
    "Simrishamn": (14.36, 55.56), "Karlskrona": (15.59, 56.16), "Kalmar": (16.37, 56.66),
    "Oskarshamn": (16.47, 57.26), "Visby": (18.29, 57.64), "Gaevle": (17.20, 60.68),
    "Hudiksvall": (17.12, 61.73), "Oernskoeldsvik": (18.72, 63.27), "Umea": (20.35, 63.70),
    "Lulea": (22.15, 65.58), "Haparanda": (24.14, 65.77), "Oulu": (25.47, 65.01),
    "Vaasa": (21.60, 63.10), "Turku": (22.20, 60.43), "Helsinki": (24.94, 60.16),
    "Vyborg": (28.75, 60.71), "Saint Petersburg": (30.20, 59.95), "Petergof": (29.90, 59.88),
    "Tallinn": (24.75, 59.45), "Paernu": (24.50, 58.38), "Klaipeda": (21.12, 55.71),
    "Gdansk": (18.66, 54.40), "Kolobrzeg": (15.55, 54.18),
    "Emden": (7.20, 53.36), "Greetsiel": (7.09, 53.50), "Norderney": (7.15, 53.71),
    "Wilhelmshaven": (8.13, 53.52), "Bremerhaven": (8.57, 53.55), "Cuxhaven": (8.70, 53.87),
    "Heligoland": (7.89, 54.18), "Husum": (9.05, 54.47), "Buesum": (8.85, 54.13),
    "Dagebuell": (8.69, 54.73), "Westerland, Sylt": (8.30, 54.91),
}  # fmt: skip
HARSH = {
    "Copenhagen": (12.60, 55.68), "Malmo": (13.00, 55.60), "Sassnitz": (13.64, 54.51),
    "Trelleborg": (13.16, 55.37), "Kiel": (10.16, 54.36), "Flensburg": (9.45, 54.80),
    "Romo, Denmark": (8.54, 55.10), "Esbjerg, Denmark": (8.45, 55.47),
    "Horns Rev": (7.84, 55.49), "Thyboron, Denmark": (8.20, 56.70),
    "Delfzijl, Netherlands": (6.92, 53.33), "Eemshaven, Netherlands": (6.83, 53.45),
    "Schiermonnikoog, Netherlands": (6.16, 53.48), "Den Helder, Netherlands": (4.76, 52.95),
    "Murmansk": (33.05, 68.97), "Kandalaksha, White Sea": (32.40, 67.15),
    "Narvik": (17.42, 68.44), "Bodo": (14.40, 67.28),
    # no sea at all, where an outline must not reach
    "Hamburg": (9.97, 53.54), "Polotsk": (28.77, 55.49), "Shlisselburg, Ladoga": (31.03, 59.95),
    "Joensuu": (29.76, 62.60), "Kuhmo": (29.52, 64.13), "Rovaniemi": (25.73, 66.50),
    "Jokkmokk": (19.83, 66.60),
    "Linkoeping": (15.62, 58.41), "Vaexjoe": (14.80, 56.88),
}  # fmt: skip


@pytest.mark.pinned("published")
@pytest.mark.parametrize("town", MILD)
def test_a_town_on_a_mild_sea(town):
    assert is_mild_sea(*MILD[town])


@pytest.mark.pinned("published")
@pytest.mark.parametrize("town", HARSH)
def test_a_town_elsewhere(town):
    assert not is_mild_sea(*HARSH[town])


@pytest.mark.pinned("judgement", answers=12)
def test_the_box_of_europe_holds_its_edges():
    """25 W to 45 E, 34 N to 72 N; judgement."""
    edge = in_europe([-25, 45, 10, 10], [50, 50, 34, 72])
    assert edge.tolist() == [True] * 4
    beyond = in_europe(
        [-25.1, 45.1, 10, 10, -26, 46, 170, -100], [50, 50, 33.9, 72.1, 30, 80, 50, 50]
    )
    assert beyond.tolist() == [False] * 8


def test_the_layer_gives_both():
    places = pd.DataFrame({"lon": [18.66, -70.0, float("nan")], "lat": [54.4, -54.8, 54.4]})
    found = LAYER.sample((), places)
    assert found["mild_sea"].tolist() == [True, False, False]
    assert found["in_europe"].tolist() == [True, False, False]
    assert [value.unknown for value in LAYER.gives] == [False, False]

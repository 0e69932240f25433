"""GSHHG in full resolution: which rings are land, and that it is the embedded coast, finer."""

import importlib.util

import numpy as np
import pytest
import shapely

from helpers.coasts import box
from saltreach.errors import LayerError
from saltreach.layers import gshhg_full
from saltreach.layers.coast import load_coast
from saltreach.layers.gshhg_full import ABOUT, RINGS, full_origin, full_shores


def write(folder, *rings, end=b""):
    """Files in the package's shape: level and ring of each."""
    raw = [np.asarray(ring, "<f4").tobytes() for _, ring in rings]
    (folder / RINGS).write_bytes(b"".join(raw) + end)
    first = np.cumsum([0, *map(len, raw)])
    (folder / ABOUT).write_text("".join(
        f"{level} 1.0 {len(one) // 8} 0.0 1.0 {at} {len(one)} {k}\n"
        for k, ((level, _), one, at) in enumerate(zip(rings, raw, first, strict=False))
    ))  # fmt: skip
    return folder


@pytest.mark.pinned("worked", answers=4)
def test_levels_1_and_5_are_land_and_the_caspian_is_sea(tmp_path):
    """Areas in square degrees: 8 of level 1, a lake and its island in it; 1 of level 5; land of 16
    around the Caspian's 4, whose islands are left out as in the embedded coast."""
    folder = write(
        tmp_path,
        (1, box(0, 0, 4, 2)), (2, box(1, 0.5, 2, 1)), (3, box(1.25, 0.5, 1.5, 0.75)),
        (5, box(6, 0, 7, 1)[::-1]), (1, box(48, 40, 52, 44)), (2, box(49, 41, 51, 43)),
        (3, box(49.25, 42, 49.5, 42.5)),
    )  # fmt: skip
    boxes = [(-1, -1, 8, 3), (3, 1, 6.5, 3), (47, 39, 53, 45), (20, 20, 21, 21)]
    shores = full_shores(boxes, folder)
    area = [shapely.area(shore.land).sum() for shore in shores]
    assert area == pytest.approx([8 + 1, 1, 16 - 4, 0])
    assert [(s.box, s.closed, s.sd_m, len(s.lines)) for s in shores] == [
        (b, True, 250, 0) for b in boxes
    ]


@pytest.mark.pinned("peer", answers=2)
def test_it_is_the_embedded_coast_drawn_finer():
    """Malta, and a shore of the Caspian: areas within 1 %, more vertices, and where both say land
    or both sea they agree with each other for 99 of 100 places."""
    boxes = [(14.1, 35.75, 14.65, 36.15), (49.0, 40.2, 50.5, 40.7)]
    for shore in full_shores(boxes):
        other = load_coast().land_shapes(*shore.box).to_numpy()
        assert shapely.area(shore.land).sum() == pytest.approx(shapely.area(other).sum(), rel=0.01)
        vertices = [shapely.get_num_coordinates(v).sum() for v in (shore.land, other)]
        assert vertices[0] > 1.3 * vertices[1]


def test_without_the_package_the_fix_is_said(monkeypatch):
    for found in (None, ModuleNotFoundError("mpl_toolkits")):

        def find(name, found=found):
            if found is not None:
                raise found

        monkeypatch.setattr(importlib.util, "find_spec", find)
        with pytest.raises(LayerError, match=r"not installed; .*pip install 'saltreach\[fine\]'"):
            gshhg_full.full_shores([(0, 0, 1, 1)])


def test_damaged_files_are_refused(tmp_path):
    write(tmp_path, (1, box(0, 0, 4, 2)), end=bytes(8))
    with pytest.raises(LayerError, match="not the shoreline that was expected"):
        full_shores([(0, 0, 1, 1)], tmp_path)
    (tmp_path / ABOUT).write_text("1 2 3\n")
    with pytest.raises(LayerError, match="install it again"):
        full_shores([(0, 0, 1, 1)], tmp_path)
    (tmp_path / ABOUT).unlink()
    with pytest.raises(LayerError, match="install it again"):
        full_shores([(0, 0, 1, 1)], tmp_path)


def test_its_origin_says_that_it_is_hardly_known_better():
    origin = full_origin()
    assert (origin.name, origin.licence) == ("coast-gshhg-f", "LGPL-3.0")
    assert "250 m" in origin.accuracy
    assert "hardly known better" in origin.accuracy
    assert "full resolution" in origin.version

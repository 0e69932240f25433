"""Small drawings of a stop, as SVG: where its anchors are, or their order; and the code."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

WIDE, HIGH = 320.0, 170.0
"""Units of a map; a line of anchors is as high as it has rows."""
_EDGE, _FOOT = 16.0, 24.0
_NUMBER_PT, _DOT = 9.5, 2.6
_IN_LINE, _ROW_HIGH = 16, 30.0
"""Anchors in a row of a line, and its height."""


def stop_svg(drawn: Mapping[str, Any]) -> tuple[str, int]:
    """The drawing of a stop, and how many numbers had no room.

    Parameters
    ----------
    drawn : mapping
        `trip.Stop.drawn`.
    """
    return _map(drawn) if drawn["kind"] == "map" else (_line(drawn), 0)


def qr_svg(text: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG."""
    import segno

    out = io.BytesIO()
    segno.make_qr(text, error="m").save(out, kind="svg", border=2, xmldecl=False, svgns=True)
    return out.getvalue().decode("utf-8")


def _text(
    x: float, y: float, text: str, *, size: float = _NUMBER_PT, anchor: str = "middle"
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="DejaVu Sans" font-size="{size}" '
        f'font-weight="bold" text-anchor="{anchor}">{text}</text>'
    )


def _framed(high: float, inside: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {high:g}">'
        f'<rect x="0.5" y="0.5" width="{WIDE - 1:g}" height="{high - 1:g}" fill="#fff" '
        f'stroke="#000" stroke-width="0.8"/>{inside}</svg>'
    )


def _map(drawn: Mapping[str, Any]) -> tuple[str, int]:
    points = drawn["points"]
    east, north = ([p[n] for p in points] for n in ("east_m", "north_m"))
    room = WIDE - 2 * _EDGE - 26, HIGH - 2 * _EDGE - _FOOT
    scale = min(room[0] / max(drawn["width_m"], 0.1), room[1] / max(drawn["height_m"], 0.1))
    middle = (min(east) + max(east)) / 2, (min(north) + max(north)) / 2
    at = [
        (
            (WIDE - 26) / 2 + (e - middle[0]) * scale,
            (HIGH - _FOOT) / 2 - (n - middle[1]) * scale,
        )
        for e, n in zip(east, north, strict=True)
    ]
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_DOT}"/>' for x, y in at)
    numbers, left = _numbers(at, [str(p["order"]) for p in points])
    return _framed(HIGH, numbers + dots + _bar(drawn["scale_m"], scale) + _north()), left


def _numbers(at: list[tuple[float, float]], texts: list[str]) -> tuple[str, int]:
    """A number near each point, clear of points and of other numbers; how many found no room."""
    taken = [(x - _DOT, y - _DOT, x + _DOT, y + _DOT) for x, y in at]
    around = ((0, -1), (1, 0), (0, 1), (-1, 0), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8), (-0.8, -0.8))
    out, left = [], 0
    for (x, y), text in zip(at, texts, strict=True):
        wide, high = 0.72 * _NUMBER_PT * len(text) / 2, 0.5 * _NUMBER_PT
        for reach in (9.0, 15.0, 22.0, 30.0, 40.0, 52.0):
            spots = [(x + dx * (reach + wide / 2), y + dy * reach) for dx, dy in around]
            free = (
                (cx, cy)
                for cx, cy in spots
                if wide + 2 < cx < WIDE - 30 - wide
                and high + 2 < cy < HIGH - _FOOT
                and not any(
                    cx - wide < r and cx + wide > le and cy - high < b and cy + high > t
                    for le, t, r, b in taken
                )
            )
            found = next(free, None)
            if found:
                cx, cy = found
                taken.append((cx - wide, cy - high, cx + wide, cy + high))
                line = (
                    f'<path d="M{x:.1f} {y:.1f}L{cx:.1f} {cy:.1f}" stroke="#888" '
                    'stroke-width="0.7"/>'
                    f'<rect x="{cx - wide:.1f}" y="{cy - high:.1f}" width="{2 * wide:.1f}" '
                    f'height="{2 * high:.1f}" fill="#fff"/>'
                )
                out.append(line * (reach > 9.0) + _text(cx, cy + 0.36 * _NUMBER_PT, text))
                break
        else:
            left += 1
    return "".join(out), left


def _bar(length_m: float, scale: float) -> str:
    long, y = length_m * scale, HIGH - 9.0
    return (
        f'<path d="M{_EDGE} {y - 4}V{y}H{_EDGE + long:.1f}V{y - 4}" fill="none" stroke="#000" '
        'stroke-width="1.4"/>' + _text(_EDGE + long + 5, y + 1, f"{length_m:g} m", anchor="start")
    )


def _north() -> str:
    x = WIDE - 16.0
    return f'<path d="M{x} 14L{x + 6} 32L{x} 28L{x - 6} 32Z" fill="#000"/>' + _text(x, 44, "N")


def _line(drawn: Mapping[str, Any]) -> str:
    """Anchors in rows from left to right, joined."""
    points = drawn["points"]
    step = (WIDE - 2 * _EDGE) / (_IN_LINE - 1)
    rows = -(-max(len(points), 1) // _IN_LINE)
    out = []
    for i, point in enumerate(points):
        row, place = divmod(i, _IN_LINE)
        x, y = _EDGE + place * step, _ROW_HIGH * row + 22
        if place:
            out.append(f'<path d="M{x - step + 3:.1f} {y}H{x - 3:.1f}" stroke="#888"/>')
        out.append(f'<circle cx="{x:.1f}" cy="{y}" r="{_DOT}"/>')
        out.append(_text(x, y - 7, str(point["order"])))
    return _framed(rows * _ROW_HIGH + 8, "".join(out))

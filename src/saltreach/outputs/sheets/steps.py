"""The steps of the trade as small drawings: black lines on white, no words but letters.

The rock is drawn in section, its face to the right, or seen from in front.
"""

from __future__ import annotations

from collections.abc import Callable

WIDE, HIGH = 180, 112
_HEAD = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" fill="none" '
    'stroke="#000" stroke-width="1.6" stroke-linejoin="round" stroke-linecap="round">'
    '<defs><pattern id="rock" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<path d="M0 7L7 0" stroke="#9a9a9a" stroke-width="0.7"/></pattern></defs>'
)
_FACE = 112
"""Where the face of the rock is in a section, from the left."""


def _shape(path: str, fill: str = "none", width: float = 1.6, dash: str = "") -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="{fill}" stroke-width="{width}"{dashes}/>'


def _circle(x: float, y: float, r: float, fill: str = "none", width: float = 1.6) -> str:
    return f'<circle cx="{x}" cy="{y}" r="{r}" fill="{fill}" stroke-width="{width}"/>'


def _arrow(x: float, y: float, to_x: float, to_y: float, *, both: bool = False) -> str:
    """A line with a head at its end, at both ends if asked."""
    length = ((to_x - x) ** 2 + (to_y - y) ** 2) ** 0.5
    along = (to_x - x) / length, (to_y - y) / length

    def head(px: float, py: float, sign: float) -> str:
        back = px - 6 * along[0] * sign, py - 6 * along[1] * sign
        side = 3 * along[1], -3 * along[0]
        return (
            f"M{back[0] + side[0]:.1f} {back[1] + side[1]:.1f}L{px} {py}"
            f"L{back[0] - side[0]:.1f} {back[1] - side[1]:.1f}"
        )

    ends = head(to_x, to_y, 1) + (head(x, y, -1) if both else "")
    return _shape(f"M{x} {y}L{to_x} {to_y}{ends}", width=1.3)


def _letter(x: float, y: float, text: str) -> str:
    return (
        f'<text x="{x}" y="{y}" font-family="DejaVu Sans" font-size="11" font-weight="bold" '
        f'fill="#000" stroke="none">{text}</text>'
    )


def _rock(hole: str = "") -> str:
    """Rock in section with a face; `hole` is cut out of it."""
    return _shape(f"M6 6H{_FACE}V106H6Z{hole}", "url(#rock)", 0.01) + _shape(f"M{_FACE} 4V108")


_HOLE = "M112 50H44V62H112Z"


def _open_hole(fill: str = "#fff") -> str:
    return _shape("M112 50H44V62H112", fill)


def _eye(x: float, y: float) -> str:
    """The eye of a bonded anchor at the face."""
    return _circle(x + 12, y, 12, "#fff", 4) + _circle(x + 12, y, 12, "none", 1.2)


def _choose() -> str:
    return (
        _shape("M6 6H140V106H6Z", "url(#rock)", 0.01)
        + _shape("M140 4C137 30 143 60 139 108", width=3)
        + _shape("M24 6L32 30L22 52L34 76L26 106", width=2.2)
        + _circle(86, 50, 6)
        + _shape("M78 50H94M86 42V58")
        + _circle(86, 96, 4, "#000")
        + _arrow(94, 46, 138, 46, both=True)
        + _arrow(78, 46, 28, 46, both=True)
        + _arrow(86, 60, 86, 90, both=True)
        + _letter(112, 41, "a")
        + _letter(52, 41, "b")
        + _letter(92, 79, "c")
    )


def _tap() -> str:
    around = ((88, 20), (112, 34), (116, 62), (96, 82), (66, 80), (50, 58), (60, 30))
    return (
        _shape("M6 6H174V106H6Z", "url(#rock)", 0.01)
        + _circle(84, 51, 6)
        + _shape("M76 51H92M84 43V59")
        + "".join(_circle(x, y, 3.4, "#000") for x, y in around)
        + _shape("M120 58L150 92", width=4)
        + _shape("M112 62L126 48L131 53L117 67Z", "#fff", 2)
    )


def _drill() -> str:
    return (
        _rock(_HOLE)
        + _open_hole()
        + _shape("M46 56L52 52H150V60H52Z", "#fff")
        + _shape("M60 52L66 60M74 52L80 60M88 52L94 60M102 52L108 60", width=1)
        + _shape("M112 49H118V63H112Z", "#000")
        + _shape("M150 44H176V68H150Z", "#ccc")
        + _shape("M112 38H124V50", width=1.2)
        + _arrow(44, 80, 112, 80, both=True)
        + _shape("M44 64V86", width=0.8, dash="3 2")
        + _letter(74, 96, "d")
    )


def _slot() -> str:
    return (
        _rock("M112 50H44V62H112Z")
        + _shape("M112 38L100 38C98 50 98 62 100 74L112 74Z", "#fff", 1.4)
        + _shape("M100 50H44V62H100", "#fff")
        + _shape("M50 53H106V59H50Z", "#888")
        + _eye(100, 56)
        + _arrow(138, 28, 107, 42)
        + _letter(142, 28, "e")
    )


def _clean() -> str:
    dust = ((126, 44), (136, 40), (146, 44), (132, 70), (144, 68), (156, 56))
    bristles = "".join(f"M{x} 89V95M{x} 89V83" for x in range(50, 92, 5))
    return (
        _shape(f"M6 6H{_FACE}V106H6Z", "url(#rock)", 0.01)
        + _shape(f"M{_FACE} 4V108")
        + _shape("M112 24H44V36H112", "#fff")
        + _shape("M50 28H158V32H50Z", "#fff")
        + _shape("M158 18H176V42H158Z", "#ccc")
        + "".join(_circle(x, y - 26, 1.8, "#000", 1) for x, y in dust)
        + _arrow(70, 46, 104, 46)
        + _shape("M112 83H44V95H112", "#fff")
        + _shape(f"M48 89H160{bristles}", width=1.6)
        + _shape("M160 89m0 0a6 6 0 1 0 12 0a6 6 0 1 0 -12 0", "#ccc")
        + _arrow(122, 78, 150, 78, both=True)
        + _letter(14, 34, "1 3")
        + _letter(14, 93, "2")
    )


def _fill() -> str:
    return (
        _rock(_HOLE)
        + _open_hole()
        + _shape("M86 50H44V62H86Z", "#555", 1)
        + _shape("M70 53H150V59H70L64 56Z", "#fff")
        + _shape("M150 46H176V66H150Z", "#ccc")
        + _arrow(96, 82, 136, 82)
        + _shape("M44 66V74H86V66", width=1)
        + _letter(60, 88, "f")
    )


def _set() -> str:
    return (
        _rock(_HOLE)
        + _shape("M112 50H44V62H112", "#555")
        + _shape("M52 53H112V59H52Z", "#fff", 1)
        + _shape("M112 46C118 48 118 64 112 66Z", "#555")
        + _eye(114, 56)
        + _shape("M122 42L134 42", width=5)
        + _arrow(126, 72, 126, 104)
        + _arrow(152, 26, 131, 39)
        + _letter(156, 26, "w")
        + _letter(134, 98, "L")
    )


def _wait() -> str:
    return (
        _rock(_HOLE)
        + _shape("M112 50H44V62H112", "#555")
        + _shape("M52 53H112V59H52Z", "#fff", 1)
        + _eye(112, 56)
        + _shape("M124 68L118 78H134L128 68", "none", 1.2)
        + _shape("M114 78H138V98H114Z", "#fff", 2)
        + _shape("M119 83L133 93M133 83L119 93", width=2.2)
        + _circle(154, 28, 18, "#fff", 2)
        + _shape("M154 28V16M154 28L163 33", width=2.4)
    )


def _test() -> str:
    return (
        _rock(_HOLE)
        + _shape("M112 50H44V62H112", "#555")
        + _shape("M52 53H112V59H52Z", "#fff", 1)
        + _eye(112, 56)
        + _shape("M114 14H120V30H140V82H120V98H114Z", "#ccc", 1.4)
        + _eye(112, 56)
        + _shape("M134 56H150", width=3)
        + _circle(160, 34, 13, "#fff", 2)
        + _shape("M160 34L167 26M152 44L146 54", width=2)
        + _arrow(150, 56, 176, 56)
    )


_DRAWN: dict[str, Callable[[], str]] = {
    "choose": _choose, "tap": _tap, "drill": _drill, "slot": _slot, "clean": _clean,
    "fill": _fill, "set": _set, "wait": _wait, "test": _test,
}  # fmt: skip
STEPS = tuple(_DRAWN)
"""Keys of the steps, in the order of the work."""


def step_svg(step: str) -> str:
    """One of `STEPS` as SVG."""
    return f"{_HEAD}{_DRAWN[step]()}</svg>"

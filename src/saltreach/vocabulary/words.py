"""Every word a cell may hold, once: bands, categories, classes, grades, kinds, answers.

A list of words that stand in an order is a `Scale`: the order is the list's, ranks and
categorical types come from it, and no module writes either again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

CAUTION = (
    "Advice only, never a certificate that an anchor is safe. Local code, the land manager and "
    "a competent person decide."
)
UNKNOWN = "unknown"
SEPARATOR = " | "
"""Between the sentences of a text column."""
JOIN = "; "
"""Between the words of a cell that holds several."""
LEFT_OUT = "LEFT OUT"
"""How a sentence begins that says what of a user's table was refused and left out."""


def counted(number: int, what: str) -> str:
    """A number and what it counts.

    Examples
    --------
    >>> counted(1, "row"), counted(2, "row")
    ('1 row', '2 rows')
    """
    return f"{number} {what}{'' if number == 1 else 's'}"


class Scale(tuple[str, ...]):
    """Words in rising order.

    Examples
    --------
    >>> bands = Scale(("low", "high"))
    >>> bands.rank(["high", "", "low"]).tolist()
    [1.0, nan, 0.0]
    >>> bands.word([1.0, float("nan")]).tolist()
    ['high', '']
    """

    __slots__ = ()

    def rank(self, words: Any) -> Any:
        """Place of each word, from 0; NaN for any other word.

        Parameters
        ----------
        words : array_like of str
            A Series keeps its index.

        Returns
        -------
        numpy.ndarray or pandas.Series of float
            In the shape of `words`.
        """
        import numpy as np

        place = {word: float(at) for at, word in enumerate(self)}
        if hasattr(words, "map"):
            import pandas as pd

            code, found = pd.factorize(words)  # each word once
            rank = [place.get(word, np.nan) for word in found]
            return type(words)(np.array([*rank, np.nan])[code], words.index, name=words.name)
        keys = np.asarray(words, dtype=object)
        flat = [place.get(word, np.nan) for word in keys.ravel()]
        return np.array(flat, dtype=float).reshape(keys.shape)[()]

    def word(self, ranks: Any, unknown: str = "") -> Any:
        """The word at each place; `unknown` for NaN.

        Parameters
        ----------
        ranks : array_like of float
            A Series keeps its index.
        unknown : str
            What stands where there is no rank.

        Returns
        -------
        numpy.ndarray or pandas.Series of object
            In the shape of `ranks`.
        """
        import numpy as np

        if hasattr(ranks, "map"):
            words = self.word(ranks.to_numpy(float, na_value=np.nan), unknown)
            return type(ranks)(words, ranks.index, dtype=object, name=ranks.name)
        places = np.asarray(ranks, dtype=float)
        at = np.where(np.isnan(places), len(self), places).astype(int)
        return np.array([*self, unknown], dtype=object)[at]

    def dtype(self) -> pd.CategoricalDtype:
        """The ordered categorical type of a column that holds these words."""
        import pandas as pd

        return pd.CategoricalDtype(list(self), ordered=True)


BANDS = Scale(("low", "moderate", "raised", "high", "severe"))
CATEGORIES = Scale(("C1", "C2", "C3", "C4", "C5", "CX"))
"""ISO 9223."""
CLASSES = Scale(("I", "II", "III", "IV", "V"))
"""Corrosion resistance classes of EN 1993-1-4."""
RMR_CLASSES = Scale(("V", "IV", "III", "II", "I"))
"""Of RMR89, the poorest rock first."""
STRENGTH_GRADES = Scale(("R0", "R1", "R2", "R3", "R4", "R5", "R6"))
"""ISRM, by hammer and knife."""
WEATHERING = Scale(("W1", "W2", "W3", "W4", "W5", "W6"))
"""ISRM."""
YES_NO = Scale(("no", "yes"))
YES_NO_UNKNOWN = ("yes", "no", UNKNOWN)
SIDES = ("land", "sea")

POSITIONS = ("belay", "lower-off", "runner")
KINDS = ("bonded", "bonded twin-leg", "expansion", "screw", "drive-in", "other")
SEEPAGE = ("none", "water", "sulphate", UNKNOWN)
TAP_RESPONSES = ("ringing", "mixed", "dull", "hollow")
ADHESIVES = ("epoxy", "hybrid", "vinylester", "polyester", "cement", UNKNOWN)
ROD_SHAPES = ("threaded", "ribbed", "plain", UNKNOWN)
HOLE_CONDITIONS = ("clean and dry", "damp", "water-filled", "uncleaned", "cored", UNKNOWN)
ROUGHNESS = ("very rough", "rough", "slightly rough", "smooth", "slickensided")
INFILLING = ("none", "hard below 5 mm", "hard above 5 mm", "soft below 5 mm", "soft above 5 mm")
JOINT_WEATHERING = ("unweathered", "slight", "moderate", "high", "decomposed")
WATER = ("dry", "damp", "wet", "dripping", "flowing")
FAVOURABILITY = ("very favourable", "favourable", "fair", "unfavourable", "very unfavourable")
"""These five: RMR89."""

FINDINGS = Scale(
    ("hanger turns", "wet", "salty", "crusted", "rust film", "rust streaks", "rust flakes", "bent",
     "worn", "resin cracked", "resin missing", "proud", "hollow", "loose", "cracked", "broken")
)  # fmt: skip
"""What a look finds at an anchor, the worst last; the order is judgement."""
PLACEMENT_DOUBTS = (
    "cure time short", "cure time unknown", "hole too shallow", "depth unknown",
    "hole not cleaned", "cleaning unknown", "adhesive expired", "expiry unknown",
)  # fmt: skip
"""What of a placing was not as it should be, or nobody wrote down."""
PLACED, REPLACED, LOOKED_AT = "placed", "replaced", "looked at"
REMOVED, CLOSED_EVENT, REOPENED, NOT_REACHED = "removed", "closed", "reopened", "not reached"
DONE = (LOOKED_AT, PLACED, REPLACED, REMOVED, CLOSED_EVENT, REOPENED, NOT_REACHED)
"""What a visit to an anchor did."""
ENTERED, CORRECTED, TAKEN_BACK = "entered", "corrected", "taken back"
TAPPED, REBOUND, PROOF_TEST, PULLED = "tapped", "rebound", "proof test", "pulled to failure"
MEASURED, NOTE, PHOTO = "measured", "note", "photo"
EVENT_KINDS = (
    ENTERED, *DONE, TAPPED, REBOUND, PROOF_TEST, PULLED, MEASURED, CORRECTED, NOTE, PHOTO,
    TAKEN_BACK,
)  # fmt: skip
"""What a book can hold about an anchor."""
PROOF_RESULTS = Scale(("held", "moved", "failed"))
FAILURE_WAYS = ("metal", "bond to the metal", "bond to the rock", "rock", UNKNOWN)
COUPON_METALS = ("steel", "zinc")

DO_NOT_PLACE = "do not place here"
ADVICE = Scale((DO_NOT_PLACE, "bonded, longer", "bonded", "mechanical or bonded"))
"""What to place, from the worst spot to the best."""
KINDS_ADVISED = (*ADVICE, UNKNOWN)
OUT_OF_USE = "take out of use"
ACTIONS = (OUT_OF_USE, "move or remove", "replace", "find out", "keep")
RISK_SOURCES = ("metal", "rock", "metal and rock")
SEA_CLIFFS_FIRST, PURE_RISK = "sea-cliffs-first", "pure-risk"
ORDERS = (SEA_CLIFFS_FIRST, PURE_RISK)
"""Orders of rebolting."""
CLOSED, OPEN_ONLY = "closed", "open only"
ACCESS = (CLOSED, OPEN_ONLY)
INSPECT, REBOLT = "inspect", "rebolt"
VISITS = (INSPECT, REBOLT)
WORD_LISTS = ("header", "choice", "level")
"""What a word of the user's own can stand for."""
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
"""As RFC 5545 writes them; `1SA` is the first Saturday of a month, `-1SU` the last Sunday."""
LEARNED_METALS = ("coated steel", "304 or less", "316", "duplex", "superaustenitic or titanium")
LEARNED_KINDS = ("bonded", "mechanical", UNKNOWN)
LEARNED_AIR = ("mild air", "harsh air")
LEARNED_TAPS = ("ringing", "other tap")
LEARNED_SUBJECTS = ("metal", "rock", "salt")
"""Of what looks and tests teach: groups of metals, kinds, air and rock, and what about."""

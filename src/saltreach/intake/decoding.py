"""Bytes of a text file to text, whatever program saved it."""

from __future__ import annotations

from saltreach.errors import RegisterError

UNREADABLE = "\N{REPLACEMENT CHARACTER}"
"""Stands for what could not be read as a letter."""
WESTERN = {"cp1252": "Windows-1252", "mac_roman": "Mac Roman", "cp850": "DOS 850"}
"""Encodings of Western Europe in which every text is readable, and their names; a tie between
them is the first's."""
_LETTERS = frozenset("äöüßéèêëàâçîïôûùœæñíóúáãõìò")
_SIGNS = frozenset("°º²³µ'´§€–—‘’“”«»…·×Ø\N{NO-BREAK SPACE}")
_SAMPLE_BYTES = 200_000


def _likeness(text: str) -> int:
    """How much the letters beyond ASCII look like words of Western Europe."""
    score = 0
    for before, letter, after in zip(" " + text, text, text[1:] + " ", strict=False):
        if letter < "\x80":
            continue
        if letter in _LETTERS:
            score += before.isalpha() or after.isalpha()
        elif letter.lower() in _LETTERS:
            score += not before.islower() and after.isalpha()
        elif letter in _SIGNS:
            score += before.isdigit() or before.isspace()
        else:
            score -= 1
    return score


def _guessed(data: bytes) -> str | None:
    """The encoding of text that is not UTF-8: a UTF-16 without mark, or a Western one."""
    import charset_normalizer

    sample = data[:_SAMPLE_BYTES]
    if b"\x00" in sample:
        sample = sample[: len(sample) // 2 * 2]
        found = charset_normalizer.from_bytes(sample, cp_isolation=["utf_16_le", "utf_16_be"])
        best = found.best()
        return None if best is None else best.encoding
    foreign = bytes(sorted({byte for byte in sample if byte >= 0x80}))
    if not foreign:
        return None
    usable = []
    for name in WESTERN:
        try:
            usable.append((_likeness(sample.decode(name)), name))
        except UnicodeDecodeError:
            continue
    return max(usable, key=lambda pair: pair[0])[1] if usable else None


def decoded(data: bytes, where: str) -> tuple[str, tuple[str, ...]]:
    """Text of a file, and a note where its encoding had to be guessed.

    Parameters
    ----------
    data : bytes
        The file: UTF-8, UTF-16 or UTF-32 by its byte order mark, UTF-8 or UTF-16 without one,
        else Windows-1252, Mac Roman or DOS 850, whichever gives the more letters of Western
        Europe (own rule).
    where : str
        Name of the file, for messages.

    Raises
    ------
    RegisterError
        It holds bytes that no text has.

    Examples
    --------
    >>> decoded("Höhle".encode("cp1252"), "a.csv")
    ('Höhle', ('text is not UTF-8 and was read as Windows-1252 (a guess): check accents',))
    """
    marks = {b"\xef\xbb\xbf": "utf-8", b"\xff\xfe\x00\x00": "utf-32", b"\x00\x00\xfe\xff": "utf-32",
             b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}  # fmt: skip
    marked = next((name for mark, name in marks.items() if data.startswith(mark)), None)
    encoding = marked or "utf-8"
    notes: tuple[str, ...] = ()
    try:
        text = data.decode("utf-8-sig" if encoding == "utf-8" else encoding)
        if "\x00" not in text:
            return text, ()
        zeros = text.count("\x00")
        if zeros <= _MOST_ZEROS * len(text):
            told = "1 zero byte" if zeros == 1 else f"{zeros} zero bytes"
            return text.replace("\x00", UNREADABLE), (
                f"{told} read as {UNREADABLE}: a damaged file?",
            )
        if marked is not None:
            raise RegisterError(f"{where}: {_NO_TEXT}")
    except UnicodeDecodeError as error:
        if marked is not None:
            raise RegisterError(
                f"{where}: its mark says {marked.upper()}, but byte {error.start} is none of it; "
                "save it as CSV UTF-8"
            ) from error
    guess = _guessed(data)
    if guess is None:
        raise RegisterError(f"{where}: {_NO_TEXT}")
    try:
        text = data.decode(guess)
    except UnicodeDecodeError as error:
        raise RegisterError(
            f"{where}: neither UTF-8 nor another text at byte {error.start}; save it as CSV UTF-8"
        ) from error
    if "\x00" in text:
        raise RegisterError(f"{where}: {_NO_TEXT}")
    name = WESTERN.get(guess)
    if name is None:
        notes = (f"text has no byte order mark and was read as {guess.upper().replace('_', '-')}",)
    else:
        notes = (f"text is not UTF-8 and was read as {name} (a guess): check accents",)
    return text, notes


_MOST_ZEROS = 0.01
"""Share of zero bytes in what is still a text (own choice)."""
_NO_TEXT = "not a text table (it holds zero bytes); save it as CSV UTF-8"

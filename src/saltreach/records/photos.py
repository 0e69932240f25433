"""Photos beside a book: each once, under its checksum."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from saltreach.errors import OutputError
from saltreach.folders.files import OWN_PREFIX, PART_SUFFIX, checksum, whole_file
from saltreach.folders.trouble import told
from saltreach.intake.return_file import Photo, copied
from saltreach.records.address import address_of

SUFFIX = "_photos"


def photos_folder(address: str | Path) -> Path:
    """The folder of a book's photos.

    Examples
    --------
    >>> photos_folder("region.gpkg").name
    'region_photos'
    """
    if address_of(address) is not None:
        raise OutputError(
            f"{address}: photos are kept in a folder beside a book in a file; leave them out of "
            "the return, or keep the book in a .gpkg"
        )
    path = Path(address)
    return path.with_name(path.stem + SUFFIX)


def stored(photos: Iterable[Photo], folder: Path) -> list[Path]:
    """Write photos that are not there yet, each whole or not at all.

    One that no event names, because a run was cut off before the book was written, is taken up
    by the next run: its name is what it holds.

    Parameters
    ----------
    photos : iterable of Photo
        As they were read.
    folder : Path
        Made if absent.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    OutputError, RegisterError
        The folder cannot be written to, or a return file was changed.
    """
    written = []
    with told(folder, "--book"):
        folder.mkdir(parents=True, exist_ok=True)
        for photo in photos:
            place = folder / f"{photo.sha256}{photo.suffix}"
            if checksum(place) == photo.sha256:
                continue
            start = f"{OWN_PREFIX}{photo.sha256[:16]}-"
            for left in folder.glob(f"{start}*{PART_SUFFIX}"):  # of a run that was cut off
                left.unlink(missing_ok=True)
            with whole_file(place, start) as stream:
                copied(photo, stream)
            written.append(place)
    return written

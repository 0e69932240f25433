"""What a layer is: a record that lets every value say where it came from."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Layer:
    """One source of values.

    Attributes
    ----------
    name : str
        Short unique name, as written in `provenance.json`.
    quantity, unit : str
        What it gives and in which unit.
    source, url, version, licence : str
        Where the data come from and under which terms.
    accuracy : str
        How far it is known to be off, and how that was measured.
    sha256 : str
        Checksum of the file that was read, where it is one file.
    extent : str
        Area covered.
    note : str
        Decisions and limits a reader must know.
    """

    name: str
    quantity: str
    unit: str = ""
    source: str = ""
    url: str = ""
    version: str = ""
    licence: str = ""
    accuracy: str = ""
    sha256: str = ""
    extent: str = ""
    note: str = ""

    def record(self) -> dict[str, str]:
        """The layer as a plain dict, for `provenance.json`."""
        return asdict(self)

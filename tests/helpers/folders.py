"""What stands in a folder of results."""

from pathlib import Path


def shown(folder: Path) -> set[str]:
    """Files a person sees there, by their path below it."""
    files = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {file.as_posix() for file in files if not any(p[0] == "." for p in file.parts)}

"""Reads profiles that people write, and knows those that come along."""

from collections.abc import Sequence
from pathlib import Path

from schemas.profiles import Profile
from schemas.written import Place, Problem, WrittenError, build, read, read_file

LIBRARY = Path(__file__).parent / "profiles"
_ENDINGS = (".yaml", ".yml")


def load(path: Path) -> Profile:
    """The profile that a file describes. Raises WrittenError with every problem's file, line, field and remedy."""
    return build(Profile, read_file(path))


def loads(text: str, file: str = "profile.yaml") -> Profile:
    """The profile that a text describes. Raises WrittenError."""
    return build(Profile, read(text, file))


def find_profile(named: str, folders: Sequence[Path] = (LIBRARY,)) -> Profile:
    """A profile by its file, or by its name in one of the folders. Raises WrittenError."""
    path = Path(named)
    if path.suffix in _ENDINGS or path.is_file():
        return load(path)
    found = next((folder / f"{named}.yaml" for folder in folders if (folder / f"{named}.yaml").is_file()), None)
    if found is None:
        known = ", ".join(names(folders))
        raise WrittenError(
            [Problem(Place(named, 1, ""), "is no file and no profile known here", f"name one of {known}")]
        )
    return load(found)


def names(folders: Sequence[Path] = (LIBRARY,)) -> list[str]:
    """Names of the profiles in the folders."""
    return sorted({path.stem for folder in folders for path in folder.glob("*.yaml")})

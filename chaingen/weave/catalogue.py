"""The catalogue: weaves that are known by name, each a weave file inside the package."""

from functools import cache
from importlib.resources import files

from chaingen.errors import BadInput, Problem
from chaingen.tables import meant, shown
from chaingen.weave.weave import Weave
from chaingen.weave.weave_file import parse_weave

FOLDER = files("chaingen.weave") / "catalogue_files"
"""Where the files of the catalogue are."""


@cache
def weave_names() -> tuple[str, ...]:
    """The names of all weaves of the catalogue, sorted."""
    names = (entry.name for entry in FOLDER.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@cache
def _read(name: str) -> Weave:
    return parse_weave((FOLDER / f"{name}.toml").read_text(encoding="utf-8"), source=f"{name}.toml")


def find_weave(name: str, *, where: str = "weave") -> Weave:
    """A weave of the catalogue.

    Args:
        name: Its name; capitals and spaces instead of hyphens do not matter.
        where: The place in the user's own terms that names it, for the message.

    Raises:
        BadInput: There is none of that name.

    Example:
        >>> from chaingen.weave.catalogue import find_weave
        >>> find_weave("Japanese 4-in-1").degrees()
        {'large': 4, 'along': 2, 'across': 2}
    """
    wanted = "-".join(name.lower().split())
    if wanted not in weave_names():
        choice = f"one of the weaves {', '.join(weave_names())}"
        raise BadInput([Problem(where, shown(name), choice, meant(wanted, weave_names()))])
    return _read(wanted)

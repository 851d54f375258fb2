"""What may be asked of the server: JSON that is what it seems, and a model for each request.

A request is refused here, in plain words, before anything looks at what it says; what a design or a change
says is judged where it is everywhere else, in a worker.
"""

import json
import math
import re
from typing import Annotated, Any, NoReturn, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError

from chaingen.errors import BadInput, Problem
from chaingen.tables import (
    MOST_PARTS,
    FileKind,
    Table,
    has_endless_key,
    limited,
    number_in,
    value_problems,
    whole_in,
    wrong,
)

MOST_TEXT = 200_000
"""Most bytes in the text of a design."""

MOST_BESIDE = 100_000
"""Most bytes in a weave or settings file beside it."""

MOST_CHANGES = 100

DEEPEST = 24
"""Most lists and objects within one another."""

MOST_DIGITS = 30
"""Most characters in a number."""

LONGEST_NAME = 100

WHOLE = "the request"

AnyRequest = TypeVar("AnyRequest", bound=Table)


def _refuse(got: str, expected: str, advice: str = "") -> NoReturn:
    raise BadInput([Problem(WHOLE, got, expected, advice)])


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys stand in it once each."""
    found = dict(pairs)
    if len(found) < len(pairs):
        _refuse("a key that stands there twice", "each key of an object once")
    return found


def _constant(name: str) -> NoReturn:
    _refuse(name, "numbers that JSON has")


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        _refuse("a number of very many digits", f"numbers of at most {MOST_DIGITS} characters")
    return int(digits)


def _number(digits: str) -> float:
    if len(digits) > MOST_DIGITS:
        _refuse("a number of very many digits", f"numbers of at most {MOST_DIGITS} characters")
    value = float(digits)
    if not math.isfinite(value):
        _refuse("a number beyond all measure", "numbers below 1e300")
    return value


def parse_json(body: bytes) -> Any:
    """The value that a body is.

    Raises:
        BadInput: It is no JSON in UTF-8, or has keys twice, numbers that are none or far too long, halves of
            letters, or lists and objects too deep within one another.
    """
    try:
        value = json.loads(
            body.decode("utf-8"),
            object_pairs_hook=_pairs,
            parse_constant=_constant,
            parse_int=_whole,
            parse_float=_number,
        )
    except UnicodeDecodeError:
        _refuse("bytes that are not UTF-8", "JSON in UTF-8")
    except RecursionError:
        _refuse("lists or objects nested too deeply", f"at most {DEEPEST} within one another")
    except json.JSONDecodeError as error:
        _refuse(f"no JSON ({error.msg}, line {error.lineno}, column {error.colno})", "JSON in UTF-8")
    _judge(value)
    return value


def _judge(value: Any) -> None:
    """Refuse halves of letters, and what is nested too deeply."""
    left = [(value, 1)]
    while left:
        value, depth = left.pop()
        if isinstance(value, str):
            try:
                value.encode()
            except UnicodeEncodeError:
                _refuse("half of a letter (a lone surrogate)", "text in whole letters")
        elif isinstance(value, list | dict):
            if depth > DEEPEST:
                _refuse("lists or objects nested too deeply", f"at most {DEEPEST} within one another")
            left += [(inner, depth + 1) for inner in value]
            if isinstance(value, dict):
                left += [(inner, depth + 1) for inner in value.values()]


# Fields


def text_up_to(most: int, what: str) -> Any:
    """The validator of a text of at most so many bytes; `what` it is begins the message."""

    def read(value: object) -> str:
        if not isinstance(value, str):
            raise wrong(f"{what}, as text")
        if len(value) > most or len(value.encode()) > most:
            raise wrong(f"{what} of at most {most:,} bytes")
        return value

    return BeforeValidator(read)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise wrong("true or false")
    return value


def _changes(value: object) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        raise wrong("a list of changes, each an object")
    if len(value) > MOST_CHANGES:
        raise wrong(f"at most {MOST_CHANGES} changes at once")
    return value


def _word_or_number(value: object) -> str | float:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= 1e6:
        return value
    if not isinstance(value, str) or len(value) > 60:
        raise wrong('a length such as "160 mm"')
    return value


def _judge_keys(text: str) -> str:
    if has_endless_key(text):
        raise wrong(f"keys of at most {MOST_PARTS} parts")
    return text


DesignText = Annotated[str, AfterValidator(_judge_keys), text_up_to(MOST_TEXT, "the text of a design")]
Word = Annotated[str, text_up_to(200, "a few words")]
Flag = Annotated[bool, BeforeValidator(_flag)]
Length = Annotated[str | float, BeforeValidator(_word_or_number)]


# Requests


class Nothing(Table):
    """A request that says nothing more."""


class New(Table):
    """A design to start from; what goes with what is judged with it."""

    name: Word
    inside: Word | None = None
    wire: Word | None = None
    metal: Word | None = None
    title: Word | None = None
    repeat: Annotated[int, whole_in(1, 100_000, "a whole number")] | None = None
    length: Word | None = None
    columns: Annotated[int, whole_in(1, 100_000, "a whole number")] | None = None
    rows: Annotated[int, whole_in(1, 100_000, "a whole number")] | None = None
    outline: Word | None = None
    hand: Word | None = None
    rosette: Annotated[int, whole_in(1, 1_000, "a whole number")] | None = None
    clearance: Word | None = None
    closed: Flag | None = None
    process: Word | None = None


class Look(Table):
    """A design with changes."""

    text: DesignText
    changes: Annotated[list[dict[str, Any]], BeforeValidator(_changes)] = Field(default_factory=list)
    quick: Flag = False


class Scene(Table):
    """How a piece is to rest; lengths are judged with the design."""

    kind: Word
    circumference: Length | None = None
    span: Length | None = None
    friction: Annotated[float, number_in(0.0, 2.0)] | None = None
    disorder: Annotated[float, number_in(0.0, 1.0)] | None = None
    seed: Annotated[int, whole_in(0, 2**31 - 1, "a whole number")] | None = None


class Rest(Table):
    """A design, and the scene that it comes to rest in."""

    text: DesignText
    scene: Scene


class Files(Table):
    """A design, and which of its files are wanted."""

    text: DesignText
    models: Flag = True
    pictures: Flag = True
    sheet: Flag = True
    scenes: Flag = True
    service: Flag = True


class Beside(Table):
    """A weave or settings file that a design names."""

    name: Word
    text: Annotated[str, AfterValidator(_judge_keys), text_up_to(MOST_BESIDE, "the text of a file")]


def read_request(body: bytes, model: type[AnyRequest]) -> AnyRequest:
    """The request that a body is.

    Raises:
        BadInput: It is no JSON, or not of this kind.
    """
    value = parse_json(body)
    if not isinstance(value, dict):
        _refuse("JSON that is no object", "an object in braces")
    try:
        return model.model_validate(value)
    except ValidationError as error:
        kind = FileKind(WHOLE, "a request", model)
        raise BadInput(limited(value_problems(error, kind), kind)) from None


_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\..*)?", re.IGNORECASE)
"""Names that are devices on some systems, whatever follows the dot."""


def base_name(path: str, where: str = "name") -> str:
    """The last part of a path of any system, if that can be the name of a TOML file on all of them.

    Args:
        path: The path.
        where: Where it was given.

    Raises:
        BadInput: It cannot.
    """
    name = re.split(r"[/\\]", path)[-1]
    plain = name.isprintable() and not re.search(r'[<>:"|?*]', name) and len(name.encode()) <= LONGEST_NAME
    if not plain or name.startswith((".", " ")) or _DEVICES.fullmatch(name):
        raise BadInput([Problem(where, repr(path[:60]), "the name of a file, in plain letters")])
    if not name.lower().endswith(".toml"):
        raise BadInput([Problem(where, repr(name), "a weave or settings file, whose name ends in .toml")])
    return name

"""What the tables of findings have in common: keys with their defaults from the builders, and messages.

A table of one kind refuses keys that it does not have by naming the kinds that have them.
"""

import inspect
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import InitErrorDetails, PydanticCustomError

from chaingen.findings.finding import Finding
from chaingen.stock.gauges import parse_wire
from chaingen.tables import Table, length_in, meant, within, wrong
from chaingen.units import UnreadableLength, format_mm

WIRES = 0.2, 6.0
"""Wire diameters of findings that are accepted [mm]."""

SIZES = 0.2, 100.0
"""Other sizes of findings that are accepted [mm]."""


def _read_wire(value: object) -> float:
    if not isinstance(value, str):
        raise wrong('a wire such as "20 AWG" or "0.8 mm", in quotes')
    try:
        return within(parse_wire(value), WIRES)
    except UnreadableLength as error:
        raise wrong(str(error)) from None


Wire = Annotated[float, BeforeValidator(_read_wire, json_schema_input_type=str)]
"""A wire diameter [mm]."""

Size = Annotated[float, length_in(SIZES)]
"""A length [mm]."""

SizeOrNone = Annotated[float, length_in((0.0, SIZES[1]))]
"""A length that may be 0 [mm]."""


def own(build: Callable[..., Finding], name: str, text: str, *, unit: str = "mm") -> Any:
    """The field of a key whose default is the builder's.

    Args:
        build: The builder.
        name: The key, which is a keyword of the builder.
        text: What it means, without its default.
        unit: Unit of its numbers.
    """
    default = inspect.signature(build).parameters[name].default
    if default is None:
        return Field(None, description=f"{text}.")
    if isinstance(default, bool):
        written: object = default
        told = "true" if default else "false"
    elif isinstance(default, float) and unit == "mm":
        written = told = format_mm(default)
    else:
        written, told = default, f"{default:g} {unit}" if isinstance(default, float) else str(default)
    return Field(
        default, description=f"{text}; {told} by default.", json_schema_extra={"default": written}
    )  # as the file writes it


class KeyTable(Table):
    """A table that tells of unknown keys in its own words, along with all else that is wrong in it."""

    @classmethod
    def unknown_key(cls, name: str) -> PydanticCustomError:
        """The error for a key that it does not have."""
        keys = [key for key in cls.model_fields if key != "kind"]
        return wrong(f"only the keys {', '.join(keys)} here", meant(name, keys))

    @model_validator(mode="wrap")
    @classmethod
    def _read(cls, value: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        if not isinstance(value, dict):
            return handler(value)
        known = {name: entry for name, entry in value.items() if name in cls.model_fields}
        errors = [
            InitErrorDetails(type=cls.unknown_key(str(name)), loc=(name,), input={})
            for name in value
            if name not in known
        ]
        try:
            read = handler(known)
        except ValidationError as error:
            errors += [_again(entry) for entry in error.errors(include_url=False)]
        if errors:
            raise ValidationError.from_exception_data(cls.__name__, errors)
        return read


def _again(entry: Any) -> InitErrorDetails:
    """An error that was found, to be raised again with others."""
    ours = entry["type"] == "expected"
    fault = PydanticCustomError("expected", "{expected}", entry["ctx"]) if ours else entry["type"]
    return InitErrorDetails(type=fault, loc=entry["loc"], input=entry["input"], ctx=entry.get("ctx", {}))

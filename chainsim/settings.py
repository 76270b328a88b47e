"""How a block declares its settings: once, with a unit, a range and a sentence.

Validation, JSON Schema, help texts, the reference table and the movement of values all read these declarations.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationInfo, field_validator
from pydantic.fields import FieldInfo

from chainsim.errors import figure

Law = Literal["linear", "log", "gain", "step"]
"""How a moving value travels: evenly; evenly in its logarithm; a level in dB, evenly as a gain; at once."""

_SUFFIX_OF_UNIT = {
    "dB": "_db",
    "dBu": "_dbu",
    "ohm": "_ohms",
    "Hz": "_hz",
    "ms": "_ms",
    "s": "_s",
    "cents": "_cents",
    "bpm": "_bpm",
    "%": "_percent",
    "samples": "_samples",
}


@dataclass(frozen=True)
class Spec:
    """What one setting is: unit, range, whether and how it may move."""

    name: str
    default: Any
    text: str
    unit: str = "1"
    low: float | None = None
    high: float | None = None
    movable: bool = False
    law: Law = "linear"
    ramp_ms: float = 0.0
    may_be_off: bool = False
    choices: tuple[str, ...] = ()
    items: type[Settings] | None = None
    """For a list of tables: what one of them may hold."""

    def range_text(self) -> str:
        """What is allowed, in words for messages and tables."""
        if self.choices:
            return " | ".join(self.choices)
        if self.low is None or self.high is None:
            return ""
        unit = "" if self.unit == "1" else f" {self.unit}"
        off = ' or "off"' if self.may_be_off else ""
        return f"{self.low:g} ... {self.high:g}{unit}{off}"

    def row_value(self, value: float) -> float:
        """The number a kernel gets for a value the user wrote: a level becomes a gain."""
        if self.law != "gain":
            return value
        return 0.0 if value == -math.inf else 10.0 ** (value / 20.0)


def fixed(default: float | None, low: float, high: float, unit: str, text: str) -> Any:
    """Declare a number that keeps its value through a render."""
    return _number(default, low, high, unit, text)


def whole(default: int | None, low: int, high: int, text: str) -> Any:
    """Declare a whole number that keeps its value through a render."""
    return _number(default, low, high, "1", text)


def movable(
    default: float, low: float, high: float, unit: str, text: str, *, law: Law | None = None, ramp_ms: float = 10.0
) -> Any:
    """Declare a number that cues and controllers may move.

    It reaches the block as one value per sample, in its own unit. `law` defaults to "log" for Hz, else "linear";
    `ramp_ms` is the time to 1 - 1/e of a change.
    """
    chosen: Law = law or ("log" if unit == "Hz" else "linear")
    return _number(default, low, high, unit, text, movable=True, law=chosen, ramp_ms=ramp_ms)


def level(default_db: float, low_db: float, high_db: float, text: str, *, ramp_ms: float = 10.0) -> Any:
    """Declare a mixing level in dB; `"off"` stands for silence. It reaches the block as a gain per sample."""
    return _number(default_db, low_db, high_db, "dB", text, movable=True, law="gain", ramp_ms=ramp_ms, may_be_off=True)


def choice(default: str | None, text: str) -> Any:
    """Declare a word out of a few; annotate the field with `Literal[...]`."""
    return Field(default, description=text, json_schema_extra={"unit": "1"})


def words(default: str | None, text: str) -> Any:
    """Declare a free text, such as a note value; `readable_by` or the block's own validator says what it may be."""
    return Field(default, description=text, json_schema_extra={"unit": "1"})


def readable_by(parse: Callable[[str], object]) -> AfterValidator:
    """Say of a text that `parse` must be able to read it: `Annotated[str, readable_by(parse_pitch)]`."""

    def check(text: str) -> str:
        parse(text)
        return text

    return AfterValidator(check)


def flag(default: bool | None, text: str) -> Any:
    """Declare a yes or no."""
    return Field(default, description=text, json_schema_extra={"unit": "1"})


def _number(default: float | None, low: float, high: float, unit: str, text: str, **more: Any) -> Any:
    extra: dict[str, Any] = {"unit": unit, "minimum": low, "maximum": high, **more}
    return Field(default, description=text, json_schema_extra=extra)


class Settings(BaseModel):
    """Base of every block's settings: frozen, unknown keys and non-finite numbers refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, validate_default=True)
    alternatives: ClassVar[tuple[tuple[str, ...], ...]] = ()
    """Groups of settings of which only one may be written; a patch that writes one puts the others aside."""

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Check at class creation that names carry their units and defaults lie in their ranges."""
        super().__pydantic_init_subclass__(**kwargs)
        for spec in cls.specs().values():
            wanted = _SUFFIX_OF_UNIT.get(spec.unit, "")
            others = [s for s in _SUFFIX_OF_UNIT.values() if s != wanted]
            carries = f"_{spec.name}".endswith(wanted)  # "cents" alone carries its unit too
            if not carries or any(spec.name.endswith(s) for s in others if not wanted):
                raise TypeError(f"{cls.__name__}.{spec.name}: the name does not fit the unit {spec.unit!r}")
            if spec.low is not None and spec.default is not None:
                _check_range(spec, spec.default)

    @classmethod
    def specs(cls) -> Mapping[str, Spec]:
        """Every declared setting by name."""
        return _specs(cls)

    def idle(self) -> Mapping[str, str]:
        """Settings that do nothing as the others stand, each with why: {"swing_percent": 'beside every = "1/4"'}.

        It goes by fixed settings, for movable ones may move, and may name those that every block has.
        """
        return {}

    @field_validator("*", mode="before")
    @classmethod
    def _off_is_silence(cls, value: Any, info: ValidationInfo) -> Any:
        spec = cls.specs()[str(info.field_name)]
        return -math.inf if spec.may_be_off and value == "off" else value

    @field_validator("*", mode="after")
    @classmethod
    def _within_range(cls, value: Any, info: ValidationInfo) -> Any:
        _check_range(cls.specs()[str(info.field_name)], value)
        return value


def _check_range(spec: Spec, value: Any) -> None:
    if spec.low is None or spec.high is None or value is None:
        return
    if (spec.may_be_off and value == -math.inf) or spec.low <= value <= spec.high:
        return
    unit = "" if spec.unit == "1" else f" {spec.unit}"
    raise ValueError(f"= {figure(value)}{unit}, allowed {spec.range_text()}")


@functools.cache
def _specs(cls: type[Settings]) -> Mapping[str, Spec]:
    return {name: _spec(name, field) for name, field in cls.model_fields.items()}


def _spec(name: str, field: FieldInfo) -> Spec:
    extra: dict[str, Any] = dict(field.json_schema_extra) if isinstance(field.json_schema_extra, dict) else {}
    more: dict[str, Any] = {k: extra[k] for k in ("movable", "law", "ramp_ms", "may_be_off") if k in extra}
    default = field.get_default(call_default_factory=True)
    return Spec(
        name=name,
        default=default,
        text=field.description or "",
        unit=str(extra.get("unit", "1")),
        low=extra.get("minimum"),
        high=extra.get("maximum"),
        choices=_choices(field.annotation),
        items=_items(field.annotation),
        **more,
    )


def _choices(annotation: Any) -> tuple[str, ...]:
    """The words of a Literal, also of one beside None."""
    kinds = (annotation, *getattr(annotation, "__args__", ()))
    return next((tuple(kind.__args__) for kind in kinds if getattr(kind, "__origin__", None) is Literal), ())


def _items(annotation: Any) -> type[Settings] | None:
    inner: tuple[Any, ...] = getattr(annotation, "__args__", ())
    return inner[0] if len(inner) == 1 and isinstance(inner[0], type) and issubclass(inner[0], Settings) else None

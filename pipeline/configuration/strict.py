"""What every model of the configuration is: frozen, without unknown keys, and no yes where a number belongs."""

from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator


class Strict(BaseModel):
    """A part of the configuration."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @field_validator("*", mode="before")
    @classmethod
    def _no_yes_for_a_number(cls, value: Any, info: ValidationInfo) -> Any:
        # pydantic takes true for 1; YAML reads yes and on as true.
        if isinstance(value, bool) and bool not in _leaves(cls.model_fields[str(info.field_name)].annotation):
            raise ValueError(f"is yes or no ({str(value).lower()}), where something else belongs; correct it")
        return value


def _leaves(annotation: Any) -> list[Any]:
    inner = get_args(annotation)
    return [leaf for one in inner for leaf in _leaves(one)] if inner else [annotation]

"""A place in a file that one of several models may fill: the one whose `kind` the table names."""

from __future__ import annotations

from typing import Annotated, Any, Union, get_args

from pydantic import (
    BaseModel,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    Tag,
    TypeAdapter,
    ValidationInfo,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, PydanticKnownError, core_schema


class ByKind:
    """Annotation of a union of `models`: a table is read by the one that has its `kind`, by `otherwise` if none has.

    Only that model is built, when it is first needed: a union with a discriminator would build all of them.
    """

    def __init__(self, *models: type[BaseModel], otherwise: type[BaseModel] | None = None) -> None:
        self._models, self._otherwise = models, otherwise
        self._by_kind = {kind: model for model in models for kind in get_args(model.model_fields["kind"].annotation)}

    def _validate(self, value: Any, info: ValidationInfo) -> BaseModel:
        if isinstance(value, BaseModel):
            if isinstance(value, self._all):
                return value
        elif isinstance(value, dict):
            kind = value.get("kind")
            model = self._by_kind.get(kind) if isinstance(kind, str) else None
            return self._model_or_refuse(model).model_validate(value, context=info.context)
        raise PydanticKnownError("model_type", {"class_name": "table"})

    @property
    def _all(self) -> tuple[type[BaseModel], ...]:
        return (*self._models, *([self._otherwise] if self._otherwise else []))

    def _model_or_refuse(self, model: type[BaseModel] | None) -> type[BaseModel]:
        model = model or self._otherwise
        if model is None:
            tags = ", ".join(map(repr, self._by_kind))
            raise PydanticCustomError("union_tag_invalid", "kind is missing or unknown", {"expected_tags": tags})
        return model

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        if self._otherwise is None:
            told: Any = Annotated[Union[self._models], Field(discriminator="kind")]  # noqa: UP007  of a list
        else:
            tagged = tuple(Annotated[model, Tag(model.__name__)] for model in self._all)
            told = Annotated[Union[tagged], Discriminator(str)]  # noqa: UP007
        return handler(TypeAdapter(told).core_schema)

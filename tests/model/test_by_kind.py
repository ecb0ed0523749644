"""A union of models by their kind: as pydantic's own reads and describes it, but only the model named is built."""

import subprocess
import sys
from typing import Annotated, Any, Literal

import pytest
from pydantic import BaseModel, Field, TypeAdapter, ValidationError, ValidationInfo, field_validator

from firmware_host.model.base import Described
from firmware_host.model.by_kind import ByKind


class Cat(Described):
    kind: Literal["cat"]
    lives: int = Field(ge=1)

    @field_validator("lives")
    @classmethod
    def _told(cls, value: int, info: ValidationInfo) -> int:
        return value + (info.context or {}).get("more", 0)


class Dog(Described):
    kind: Literal["dog"]
    barks: bool = True


class Other(Described):
    kind: str


class Home(Described):
    pet: Annotated[Cat | Dog, ByKind(Cat, Dog)]
    pets: tuple[Annotated[Cat | Dog, ByKind(Cat, Dog)], ...] = Field(default=(), strict=False)


class Zoo(Described):
    animal: Annotated[Cat | Other, ByKind(Cat, otherwise=Other)]


class ByLibrary(Described):
    pet: Annotated[Cat | Dog, Field(discriminator="kind")]
    pets: tuple[Annotated[Cat | Dog, Field(discriminator="kind")], ...] = Field(default=(), strict=False)


def problems(kind: type[BaseModel], tables: dict[str, Any]) -> list[tuple[Any, ...]]:
    with pytest.raises(ValidationError, match=r".") as caught:
        kind.model_validate(tables)
    return [(each["type"], each["loc"], each["input"]) for each in caught.value.errors()]


def test_a_table_becomes_the_model_that_it_names() -> None:
    home = Home.model_validate({"pet": {"kind": "dog"}, "pets": [{"kind": "cat", "lives": 9}]})
    assert home == Home(pet=Dog(kind="dog"), pets=(Cat(kind="cat", lives=9),))
    assert Home.model_validate(home.model_dump(mode="json")) == home


def test_what_no_model_has_the_kind_of_goes_to_the_other_one() -> None:
    assert Zoo.model_validate({"animal": {"kind": "cat", "lives": 1}}).animal == Cat(kind="cat", lives=1)
    assert Zoo.model_validate({"animal": {"kind": "emu"}}).animal == Other(kind="emu")
    assert problems(Zoo, {"animal": {}}) == [("missing", ("animal", "kind"), {})]


def test_the_context_of_the_reading_comes_through() -> None:
    home = Home.model_validate({"pet": {"kind": "cat", "lives": 1}}, context={"more": 4})
    assert home.pet == Cat(kind="cat", lives=5)


@pytest.mark.parametrize("pet", [{}, {"kind": "emu"}, {"kind": 3}, {"kind": ["cat"]}], ids=repr)
def test_an_unknown_kind_is_told_with_the_known_ones(pet: dict[str, Any]) -> None:
    with pytest.raises(ValidationError, match="kind is missing or unknown") as caught:
        Home.model_validate({"pet": pet})
    assert caught.value.errors()[0]["ctx"] == {"expected_tags": "'cat', 'dog'"}


@pytest.mark.parametrize("pet", [3, "cat", [], None, Other(kind="cat")], ids=repr)
def test_what_is_no_table_is_no_model(pet: object) -> None:
    assert [kind for kind, *_ in problems(Home, {"pet": pet})] == ["model_type"]


def test_problems_inside_stand_at_their_place() -> None:
    tables = {"pet": {"kind": "cat", "lives": 0, "x": 1}, "pets": [{"kind": "dog"}, {"kind": "dog", "barks": 1}]}
    assert problems(Home, tables) == [
        ("greater_than_equal", ("pet", "lives"), 0),
        ("extra_forbidden", ("pet", "x"), 1),
        ("bool_type", ("pets", 1, "barks"), 1),
    ]
    assert [(kind, value) for kind, _, value in problems(ByLibrary, tables)] == [
        (kind, value) for kind, _, value in problems(Home, tables)
    ]


def test_the_schema_is_that_of_the_library() -> None:
    assert Home.model_json_schema() | {"title": ""} == ByLibrary.model_json_schema() | {"title": ""}
    told = TypeAdapter(Annotated[Cat | Other, ByKind(Cat, otherwise=Other)]).json_schema()
    assert [each["$ref"] for each in told["oneOf"]] == ["#/$defs/Cat", "#/$defs/Other"]


def test_reading_a_job_builds_only_the_kinds_that_it_names() -> None:
    code = (
        "from firmware_host import load_job; from firmware_host.model.part import part; load_job('shaft-scale');"
        "kinds = [part.SolidPart, part.TubePart, part.ConePart, part.MeshPart, part.RoundPart];"
        "print([kind.__pydantic_complete__ for kind in kinds])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "[True, False, False, False, False]\n"

"""What all shapes have in common, and the one in which every refusal comes."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from firstpull.web.refusals import STATUS, status_of

Vector = list[float]
"""Three numbers."""


def _leads_somewhere(direction: list[float]) -> list[float]:
    if not any(abs(part) > 1e-9 for part in direction):
        raise ValueError("a direction is not all 0")
    return direction


Place = Annotated[list[float], Field(min_length=3, max_length=3)]
Direction = Annotated[Place, AfterValidator(_leads_somewhere)]


class Shape(BaseModel):
    """Something that is sent out; fields that it always has are always there."""

    model_config = ConfigDict(
        json_schema_serialization_defaults_required=True, ser_json_inf_nan="null"
    )


class Asked(BaseModel):
    """Something that comes in; a field that is not known is refused, so a slip is seen."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Refusal(Shape):
    """Why a request was refused. Nothing is lost: what was kept stays as it was."""

    code: str = Field(description="Which refusal; does not change between versions.")
    where: str = Field(description="The file, field, piece or address concerned.")
    found: str = Field(description="What was found there.")
    limit: str = Field(description='What is allowed or needed; "" where found says it all.')
    remedy: str = Field(description="The next move.")
    sentence: str = Field(description="All of it as one sentence for people.")


class ChangedRefusal(Refusal):
    """Somebody changed it meanwhile; nothing was overwritten."""

    theirs: dict[str, Any] | None = Field(
        default=None, description="How it stands now, in the shape that the route answers with."
    )


_ALWAYS = ("strange_host", "strange_origin", "no_key", "bad_request", "program_fault")


def refusals(*codes: str) -> dict[int | str, dict[str, Any]]:
    """The refusals of a route for its document, with those that any route can give.

    Args:
        codes: of the refusals of its own, such as "no_such_thing".
    """
    by_status: dict[int, list[str]] = {}
    for code in (*_ALWAYS, *codes):
        assert code in STATUS or status_of(code) == 422, code
        by_status.setdefault(status_of(code), []).append(code)
    return {
        status: {
            "model": ChangedRefusal if status == 409 else Refusal,
            "description": "Refused: " + ", ".join(codes),
        }
        for status, codes in sorted(by_status.items())
    }


def sends(media_type: str, description: str) -> dict[int | str, dict[str, Any]]:
    """The document of a route that answers with a file."""
    schema = {"type": "string", "format": "binary"}
    return {200: {"description": description, "content": {media_type: {"schema": schema}}}}


def takes(media_type: str, description: str) -> dict[str, Any]:
    """The document of a route whose body is a file."""
    schema = {"type": "string", "format": "binary"}
    content = {media_type: {"schema": schema}}
    return {"requestBody": {"required": True, "description": description, "content": content}}

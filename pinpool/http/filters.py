"""Query names are checked: a misspelt filter must not answer with everything."""

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from django_filters import FilterSet
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request

LENGTHS = OpenApiParameter("lengths", str, enum=["mm", "in"], description="The unit lengths are shown in: mm.")

FIELDS = OpenApiParameter(
    "fields",
    str,
    description="Only these keys of each object, by name, joined by commas; left out: all. The other keys are then "
    "missing, required or not.",
)


def only_fields(request: Request, data: Any) -> Any:
    """What `?fields=` asks for of a shown object, or of each on a page; an unknown name is refused with the known."""
    asked = request.query_params.get("fields")
    if asked is None:
        return data
    page = isinstance(data, dict) and data.keys() == {"next", "previous", "results"}
    rows = data["results"] if page else [data]
    names = asked.split(",")
    known = list(rows[0]) if rows else names  # an empty page has nothing to leave out
    unknown = [name for name in dict.fromkeys(names) if name not in known]
    if unknown:
        told = unknown[: len(known)]  # each tells every key: of a long list, the answer would be longer by far
        faults = [f"“{name}” is none of the keys here: {', '.join(known)}." for name in told]
        raise ValidationError({"fields": [ErrorDetail(fault, "unknown_field") for fault in faults]})
    kept = [{name: row[name] for name in names} for row in rows]
    return {**data, "results": kept} if page else kept[0]


def refuse_unknown_query(request: Request, query: Mapping[str, OpenApiParameter]) -> None:
    """Raise for every name not in `query`, for one given twice or blank, and for a value outside its choices."""
    known = sorted(query)
    faults: dict[str, list[ErrorDetail]] = {}
    for name in request.query_params:
        if name not in known:
            listed = ", ".join(known) or "none"
            faults[name] = [ErrorDetail(f"Unknown query name; known here: {listed}.", "unknown_query")]
        elif len(request.query_params.getlist(name)) > 1:
            faults[name] = [ErrorDetail("Give it once.", "repeated_query")]
        elif not request.query_params[name].strip():  # a blank filter would answer with everything
            faults[name] = [ErrorDetail("Give it a value, or leave it out.", "blank")]
        elif (choices := query[name].enum) and request.query_params[name] not in choices:
            listed = " or ".join(map(str, choices))
            faults[name] = [ErrorDetail(f"Must be {listed}.", "invalid_choice")]
    if faults:
        raise ValidationError(faults)


def filtered(filter_set: type[FilterSet], request: Request, rows: QuerySet) -> QuerySet:
    """`rows` filtered by the query; raises with every filter value that cannot be read."""
    bound = filter_set(request.query_params, queryset=rows, request=request)
    if not bound.is_valid():
        raise ValidationError(_faults(bound))
    return bound.qs


def _faults(bound: FilterSet) -> dict[str, list[ErrorDetail]]:
    return {
        name: [ErrorDetail(fault["message"], fault["code"] or "invalid") for fault in faults]
        for name, faults in bound.errors.get_json_data().items()
    }

"""What the endpoints for sheets take and show."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from exposures.imports.cells import DATE_ORDERS, DECIMALS, CellFault, Format, clock_of, parts_of, zone_of
from exposures.imports.fields import KINDS_OF_SHEET, Field, fields_of
from exposures.imports.guessing import Column
from exposures.imports.importers import KIND, POINT
from exposures.imports.sheets import DELIMITERS, ENCODINGS
from exposures.imports.times import COLONS
from pinpool.conf import setting
from pinpool.http.fields import Moment, StrictSerializer, Text
from pinpool.plugins.registry import contributions
from pinpool.plugins.switches import offered_to, switched_off
from pinpool.units import KINDS, find_unit


class ImporterField(serializers.CharField):
    """What reads a file that is no spreadsheet: a contribution of a plug-in, by name."""

    def to_internal_value(self, data: Any) -> str:
        name = super().to_internal_value(data)
        known = offered_to(self, POINT)
        if name in known:
            return name
        if name in contributions(POINT):
            raise serializers.ValidationError([switched_off(POINT, name)])
        text = f"One of {', '.join(known)}." if known else "No plug-in here brings an importer."
        raise serializers.ValidationError(text, "invalid_choice")


class ImporterSchema(OpenApiSerializerFieldExtension):
    target_class = ImporterField

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        known = list(contributions(POINT))
        return {"type": "string", **({"enum": known} if known else {})}


class SheetIn(StrictSerializer):
    """A spreadsheet as a form with a file; it is read and tried, and nothing imported yet."""

    file = serializers.FileField(
        use_url=False, help_text="CSV or XLSX, of a workbook the first visible sheet; or what the importer reads."
    )
    kind = serializers.ChoiceField(list(KINDS_OF_SHEET), help_text="What a row is.")
    encoding = serializers.ChoiceField(
        list(ENCODINGS), required=False, help_text="Of a CSV without a byte order mark; left out: UTF-8."
    )
    delimiter = serializers.ChoiceField(
        list(DELIMITERS), required=False, help_text="Left out: the one that splits the rows best."
    )
    importer = ImporterField(required=False, help_text="Of a plug-in, for a log that is no spreadsheet.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "importer" in attrs:
            faults: dict[Any, Any] = {
                name: [ErrorDetail("This does not go with an importer.", "unknown_key")]
                for name in ("encoding", "delimiter")
                if name in attrs
            }
            if attrs["kind"] != KIND:
                faults["kind"] = [ErrorDetail("An importer brings in entries of the log: exposures.", "invalid_choice")]
            if faults:
                raise serializers.ValidationError(faults)
        return attrs


class FormatIn(StrictSerializer):
    """How a column is written. Nothing undeclared is guessed."""

    decimal = serializers.ChoiceField(DECIMALS, required=False, help_text="The sign before decimals.")
    unit = Text(max_length=12, required=False, help_text="Of numbers that stand without one.")
    date = serializers.ChoiceField(DATE_ORDERS, required=False, help_text="Which order 3/5/2026 has.")
    zone = Text(max_length=60, required=False, help_text="Such as Europe/Lisbon or +01:00.")
    clock = Text(max_length=11, required=False, help_text="Time of day for days without one.")
    colon = serializers.ChoiceField(COLONS, required=False, help_text="What 4:50 means.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for name, reads in (("zone", zone_of), ("clock", clock_of)):
            try:
                reads(attrs.get(name, "12:00" if name == "clock" else "UTC"))
            except CellFault as fault:
                raise serializers.ValidationError({name: [ErrorDetail(fault.detail, fault.code)]}) from None
        return attrs


class ColumnIn(StrictSerializer):
    """What one column is. A field of null leaves it aside."""

    column = Text(max_length=90, help_text="By its name.")
    field = Text(max_length=60, allow_null=True, help_text="Such as exposure_time or result.judged_stops.")
    format = FormatIn(required=False)


class MappingIn(StrictSerializer):
    """Columns to map otherwise; the others stay as they are."""

    columns = ColumnIn(many=True, required=False, max_length=setting("MAX_IMPORT_COLUMNS"))
    fixed = serializers.DictField(
        child=Text(max_length=300), required=False, help_text="What holds for every row without a cell, by field."
    )


class ApplyIn(StrictSerializer):
    rows = serializers.ChoiceField(["all", "good"], help_text="All or nothing, or the good rows alone.")


class UndoIn(StrictSerializer):
    """Nothing needs saying; send {}."""


def mapping_for(kind: str, body: dict[str, Any]) -> dict[str, Any]:
    """The mapping in a body as columns of a sheet of this kind; raises with all that such a sheet cannot have."""
    fields = fields_of(kind)
    faults: dict[str, Any] = {}
    columns = []
    for place, each in enumerate(body.get("columns", ())):
        name, form = each["field"], dict(each.get("format", {}))
        if name is not None and name not in fields:
            faults.setdefault("columns", {})[place] = {"field": [_unknown(name, fields)]}
            continue
        wrong = _format_faults(fields[name], form) if name else {}
        if wrong:
            faults.setdefault("columns", {})[place] = {"format": wrong}
        columns.append(Column(each["column"], name, Format(**form) if name else Format(), 1.0))
    unknown = {name: [_unknown(name, fields)] for name in body.get("fixed", {}) if name not in fields}
    if unknown:
        faults["fixed"] = unknown
    if faults:
        raise serializers.ValidationError(faults)
    return {"columns": columns, "fixed": body.get("fixed")}


def _unknown(name: str, fields: dict[str, Field]) -> ErrorDetail:
    return ErrorDetail(f"“{name[:60]}” is no field of such a row; known: {', '.join(fields)}.", "unknown_field")


def _format_faults(each: Field, form: dict[str, str]) -> dict[str, list[ErrorDetail]]:
    parts = parts_of(each)
    listed = ", ".join(parts) or "nothing"
    faults = {
        name: [ErrorDetail(f"{each.name} is no such column; a format here may say {listed}.", "unknown_key")]
        for name in form
        if name not in parts
    }
    if "unit" in form and "unit" not in faults:
        unit, known = find_unit(form["unit"]), KINDS[each.kind].units
        if unit is None or unit.symbol not in known:
            faults["unit"] = [ErrorDetail(f"Units that do: {', '.join(known)}.", "unit_unknown")]
        else:
            form["unit"] = unit.symbol
    return faults


# -------------------------------------------------------------------------------------------------------- out


class FormatOut(serializers.Serializer):
    decimal = serializers.CharField(allow_null=True)
    unit = serializers.CharField(allow_null=True)
    date = serializers.CharField(allow_null=True)
    zone = serializers.CharField(allow_null=True)
    clock = serializers.CharField(allow_null=True)
    colon = serializers.CharField(allow_null=True)


class ColumnOut(serializers.Serializer):
    """A column, and how sure the guess is that it is this."""

    column = serializers.CharField(source="name")
    field = serializers.CharField(allow_null=True, help_text="null: left aside.")
    format = FormatOut()
    sure_share = serializers.FloatField(help_text="1 where a person said so.")


class QuestionOut(serializers.Serializer):
    """What could not be guessed; answer it with a change of the mapping."""

    about = serializers.CharField(help_text="field, or the part of a format: decimal, unit, date, zone, colon.")
    column = serializers.CharField(allow_null=True)
    field = serializers.CharField(allow_null=True)
    text = serializers.CharField()
    choices = serializers.ListField(child=serializers.CharField())
    suggestion = serializers.CharField(allow_null=True)


class RowCountsOut(serializers.Serializer):
    """How many rows are in each state; all of them together are the rows of the sheet."""

    good = serializers.IntegerField(help_text="Would be imported.")
    faulty = serializers.IntegerField()
    empty = serializers.IntegerField()
    known = serializers.IntegerField(help_text="The same entry is stored already.")
    imported = serializers.IntegerField()
    undone = serializers.IntegerField()


class BatchOut(serializers.Serializer):
    """A sheet that somebody brought in, and what has become of it."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    file_name = serializers.CharField()
    state = serializers.CharField(help_text="tried, imported or undone.")
    made_by = serializers.CharField(source="made_by.get_username", default=None, allow_null=True)
    made_at = Moment()
    revision = serializers.IntegerField()


class WholeBatchOut(BatchOut):
    """The same with its mapping and how many rows are good; the rows themselves stand at `rows/`."""

    rows = RowCountsOut()
    columns = ColumnOut(many=True)
    fixed = serializers.DictField(child=serializers.CharField())
    questions = QuestionOut(many=True)
    known_fields = serializers.ListField(child=serializers.CharField(), help_text="What a column can be.")


class CellFaultOut(serializers.Serializer):
    column = serializers.CharField(allow_null=True, help_text="null: of the whole row, or of no column.")
    field = serializers.CharField(allow_null=True)
    cell = serializers.CharField(help_text="As it stands.")
    code = serializers.CharField()
    detail = serializers.CharField()


class SheetRowOut(serializers.Serializer):
    """A row of the sheet by its number in the file, what was read from it, and what is wrong with it."""

    row = serializers.IntegerField()
    state = serializers.CharField()
    made = serializers.CharField(allow_null=True, help_text="The id or code of what it became.")
    read = serializers.JSONField(help_text="What the API would be sent for it.")
    faults = CellFaultOut(many=True)

"""What a paper's data sheet says of its times, as it is sent and shown."""

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from exposures.published import rows_of
from optics.core.faults import Impossible
from optics.core.reciprocity import TableLaw
from optics.inputs import Pairs, ReciprocityField, refuse
from optics.outputs import SaidTime
from pinpool.http.fields import Duration, StrictSerializer, Text
from pinpool.plugins.model import Contribution

NOTHING_PUBLISHED = {"published_rows_s": None, "published_typed": None, "published_source": ""}


class PublishedLawField(ReciprocityField):
    """A reciprocity law of a data sheet, any that rests on nobody's log; read to it as written and its rows in s."""

    def offers(self) -> dict[str, Contribution]:
        return {name: each for name, each in super().offers().items() if not each.needs_actor}

    def to_internal_value(self, data: Any) -> Any:
        name = self.chosen(data)
        law = super().to_internal_value(data)
        if name == "table":
            return data["rows"], self.raw["rows"]
        try:
            return {self.selector: name} | self._defaults(name) | data, rows_of(law)
        except Impossible as fault:
            refuse(fault, "" if fault.field else self.selector)

    def _defaults(self, name: str) -> dict[str, Any]:
        """What the rows rest on besides what was written, which a later version of the law's plug-in may change."""
        optional = [each for each in self.offers()[name].parameters if not each.required and each.default is not None]
        return {each.name: each.default_written for each in optional}


class PublishedIn(StrictSerializer):
    """A data sheet's times, for film: as rows, or as a law. They stand in until the club has logs of its own."""

    rows = Pairs(Duration(), required=False, help_text="Pairs of indicated and corrected time, both rising.")
    reciprocity = PublishedLawField(required=False, help_text="In place of rows.")
    source = Text(max_length=300, help_text="Where it is printed: maker, sheet, edition, page.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        given = [name for name in ("rows", "reciprocity") if name in values]
        if len(given) != 1:
            text = "Give rows or reciprocity" + (", not both." if given else ".")
            raise serializers.ValidationError({"rows": [ErrorDetail(text, "ambiguous" if given else "required")]})
        [name] = given
        typed, rows = (data["rows"], values["rows"]) if name == "rows" else values["reciprocity"]
        try:
            law = TableLaw(tuple((float(indicated), float(corrected)) for indicated, corrected in rows))
        except Impossible as fault:
            refuse(Impossible(fault.code, str(fault)), "rows" if name == "rows" else "reciprocity.law")
        return {
            "published_rows_s": [list(row) for row in law.rows],
            "published_typed": typed,
            "published_source": values["source"],
        }


class PublishedOut(serializers.Serializer):
    rows = serializers.ListField(
        child=serializers.ListField(child=SaidTime()),
        source="published_rows_s",
        help_text="As entered; of a law, so that straight lines in log-log between them are within 0.01 stop of it.",
    )
    reciprocity = serializers.JSONField(
        source="published_law",
        help_text="The law that the rows are of, as written, with what it took for what was left out; null: a table.",
    )
    source = serializers.CharField(source="published_source")

"""What lies between two specs of a camera, as its page tells it."""

from dataclasses import dataclass
from functools import cached_property

from clubs.models import CameraSpec
from clubs.serializers_specs import DifferenceOut
from clubs.spec_difference import SpecDifference
from clubs.web.words import Changed, named, said_of
from pinpool.http.problems import PluginFailed


@dataclass(frozen=True)
class Difference:
    """From `old` to `new`; lengths of `changes` in the reader's unit."""

    old: CameraSpec
    new: CameraSpec
    lengths: str

    @cached_property
    def stops(self) -> SpecDifference:
        """The same in stops."""
        return SpecDifference(self.old, self.new)

    @cached_property
    def text(self) -> list[str]:
        """In words; a sentence that says so where the plug-in of a film plane is gone."""
        try:
            return self.stops.text
        except PluginFailed as fault:
            return [str(fault.detail)]

    @cached_property
    def changes(self) -> list[Changed]:
        """Value by value."""
        shown: list[dict] = DifferenceOut(context={"lengths": self.lengths}).get_changes(self.stops)
        return [
            Changed(named(at), said_of(at, each["old"]), said_of(at, each["new"]))
            for each in shown
            for at in [each["pointer"]]
        ]

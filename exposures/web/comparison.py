"""The page that puts members, cameras or papers on one scale."""

from collections import defaultdict
from typing import Any

from clubs.web.base import ClubPage
from exposures.teaching import Called, Comparison, compare
from exposures.web.comparison_plot import Dot, comparison_svg

#: What can be compared, and what its offset means.
WAYS = {
    "member": "How much meter and eye differ: over (+) where results come out with more exposure than others get.",
    "camera": "How much light each camera gives off its f-number: over (+) where its hole passes more than measured.",
    "paper": "How fast each paper is beside its nominal index: over (+) where it needs less light.",
}
#: The most rows that are drawn; the table has all of them.
MOST_DRAWN = 40


class ComparisonPage(ClubPage):
    """The club's results on one scale, and what can be told apart."""

    action = "compare"
    template_name = "exposures/comparison.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = self.request.GET.get("by", "")
        by = asked if asked in WAYS else next(iter(WAYS))
        found = compare(actor=self.membership, by=by)
        dots = dots_of(found)
        return super().get_context_data(**kwargs) | {
            "by": by,
            "ways": list(WAYS),
            "means": WAYS[by],
            "found": found,
            "plot": comparison_svg(f"The club's {by}s beside each other", dots) if dots else "",
            "left_out": len(found.rows) - len(dots),
        }


def dots_of(found: Comparison) -> list[Dot]:
    """The rows with the most logs, in their order, each with its logs."""
    logs: dict[Called, list[float]] = defaultdict(list)
    for each in found.logs:
        logs[each.called].append(each.off_stops)
    drawn = sorted(found.rows, key=lambda row: -row.offset.evidence.logs)[:MOST_DRAWN]
    return [
        Dot(row.called.said, row.offset.stops, row.low_stops, row.high_stops, logs[row.called])
        for row in found.rows
        if row in drawn
    ]

"""The page of what clubs share: the pool, the catalogue with its merges, packets to and from other servers."""

from typing import Any

from clubs.roles import allows
from exposures import pooling, selectors
from exposures.web.asked import AskedPage, as_api
from pinpool.http.pages import page_of_list


class PoolPage(AskedPage):
    """Whether the club shares, what counts for it, and which papers are one."""

    action = "read_pool"
    template_name = "exposures/pool.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        catalogue = selectors.catalogue_of(self.club)
        packets = pooling.packets_in(club=self.club).order_by("source")
        return super().get_context_data(**kwargs) | {
            "pool": selectors.pool_shown(self.club),
            "page": page_of_list(as_api(self.request, self.reader), catalogue, key="key"),
            "keys": [entry.key for entry in catalogue],
            "merges": pooling.merges_in(club=self.club).order_by("-pk"),
            "packets": list(packets) if allows(self.membership.role, "read_packets") else [],
        }

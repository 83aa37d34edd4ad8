"""The OpenAPI document as schemathesis reads it, and a club in which things of every kind exist."""

from pathlib import Path
from typing import Any

import schemathesis
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from pinpool.models import ApiToken
from tests.bodies import OPTICS, PLACES
from tests.clubs.test_api import Here, address
from tests.factories import AccountFactory

DOCUMENT = schemathesis.openapi.from_path(Path(__file__).parents[2] / "fixtures/openapi.yaml")
OPERATIONS = {found.ok().label: found.ok() for found in DOCUMENT.get_all_operations()}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
#: What the document sums up as its default answer, beside the statuses it lists one by one.
ANY_CALL = {"401", "403", "404", "405", "406", "413", "415"}


class Known:
    """A club in which things of every kind exist, and the token of its keeper."""

    def __init__(self, here: Here) -> None:
        self.here = here
        AccountFactory.create(username="walker")
        _, secret = ApiToken.issue(user=here.members["keeper"].user, name="fuzz")
        self.headers = {"Authorization": f"Bearer {secret}", "If-Match": "*"}

    def address_of(self, path: str) -> str:
        """A path of the document with names that exist in the places of its parameters."""
        below = path.partition("{club}/")[2]
        for name, kind in {"id": "uuid", "code": "slug", "number": "int", "place": "int"}.items():
            below = below.replace(f"{{{name}}}", f"<{kind}:{name}>")
        return address(self.here, below).partition("?")[0]

    def put_names(self, case: Any) -> None:
        """Names that exist in the place of invented ones, in the address and in the body."""
        if "{club}" in case.path:
            steps = zip(case.path.split("/"), self.address_of(case.path).split("/"), strict=True)
            case.path_parameters = {step[1:-1]: value for step, value in steps if step.startswith("{")}
        elif "{claim_code}" in case.path:
            case.path_parameters = {"claim_code": self.here.place.code}
            case.path_parameters |= {"id": str(self.here.noted.id)} if "{id}" in case.path else {}
        elif "{code}" in case.path:
            case.path_parameters = {"code": self.here.invitation.code}
        if isinstance(case.body, dict):
            names = {"camera": "T1", "paper": str(self.here.paper.id)}
            case.body = case.body | {name: value for name, value in names.items() if name in case.body}

    def good_body(self, path: str) -> Any:
        if path.startswith("/api/v1/optics/"):
            return OPTICS[path.removeprefix("/api/v1/optics/")]
        if "{claim_code}" in path:
            return PLACES[path.partition("{claim_code}/")[2].replace("{id}", "<uuid:id>")]
        if "{club}" not in path:
            return {"slug": "brook", "name": "Brook"}
        return self.here.bodies[self.address_of(path).removeprefix(self.here.at)]

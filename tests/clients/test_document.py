"""Public tools make sense of the whole document: a validator of its meaning, and a generator of clients."""

from typing import Any

import pytest
import yaml
from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.clients.conftest import DOCUMENT, Generated


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return yaml.load(DOCUMENT.read_text(), yaml.CSafeLoader)


def test_the_document_is_valid_and_so_are_its_defaults(document: dict[str, Any]) -> None:
    assert [fault.message for fault in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_the_generator_says_nothing_and_leaves_no_call_out(generated: Generated, document: dict[str, Any]) -> None:
    calls = {call["operationId"]: call for methods in document["paths"].values() for call in methods.values()}
    assert generated.said == ""
    assert generated.modules == {name: call["tags"][0] for name, call in calls.items()}
    for name in calls:
        assert callable(generated.operation(name).sync_detailed)


def test_names_read_well(generated: Generated) -> None:
    """None is numbered, and none stands for a choice of a choice."""
    names = [path.stem for path in generated.folder.glob("models/*.py")]
    assert [name for name in names if "_type_" in name or name[-1].isdigit() or name.startswith("patched")] == []

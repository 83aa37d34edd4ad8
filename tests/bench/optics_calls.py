"""What every optics endpoint adds to the bare core: units, checks, HTTP, the drawing's way into JSON.

python tests/bench/optics_calls.py [rounds, default 60]

The site runs as it is served, with 1 worker. The bare core is the endpoint's own function in this process, called with
the numbers that the site would call it with, and with the film planes and every drawing of the answer made anew each
time. Medians over rounds in which all take turns. Those who ask share the machine. The site has nothing to do while the
core is timed, and who asks first afterwards waits for it to wake up; so the first question is asked twice and its
second answer counts.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from io import BytesIO
from typing import Any
from unittest.mock import patch

from asked import Question, clock, database, served, set_up
from figures import Figure, print_table

COMMAND = "python tests/bench/optics_calls.py"
MOST_MS = 2.0


def questions() -> dict[str, tuple[dict[str, Any], bytes, str]]:
    """By endpoint: what is asked, as a body, and its type. The negative's map is as fine as the pages ask for."""
    import orjson  # noqa: PLC0415
    from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart  # noqa: PLC0415

    from tests.bodies import FORMS, OPTICS  # noqa: PLC0415
    from tests.exposures.workshops.conftest import scan_form  # noqa: PLC0415

    bodies = OPTICS | {"illumination/": OPTICS["illumination/"] | {"columns": 81, "rows": 33}}
    asked = {name: (body, orjson.dumps(body), "application/json") for name, body in bodies.items()}
    form = FORMS["hole-scan/"] | scan_form()
    asked["hole-scan/"] = (form, encode_multipart(BOUNDARY, form), MULTIPART_CONTENT)
    return asked


def core_call(name: str, body: dict[str, Any]) -> Callable[[], Any]:
    """The bare core's own work for this question."""
    from django.urls import resolve  # noqa: PLC0415

    from optics import contributed  # noqa: PLC0415

    view: Any = resolve(f"/api/v1/optics/{name}").func
    view = view.view_class
    with patch.object(contributed, "film_plane", wraps=contributed.film_plane) as made:
        reader = view.takes(data=body, context={"request": None})
        reader.is_valid(raise_exception=True)
    values = dict(reader.validated_data)
    planes = [partial(contributed.film_plane, *call.args, **call.kwargs) for call in made.call_args_list]
    drawings = list(ways_to_drawings(view.gives()))
    scan = body["image"].file.getvalue() if "image" in body else b""

    def call() -> Any:
        if "film_planes" in values:
            values["film_planes"] = [plane() for plane in planes]
        elif planes:
            values["film_plane"] = planes[0]()
        if scan:
            values["image"] = BytesIO(scan)
            values["image"].size = len(scan)
        answer = view.compute(**values)
        return answer, [drawn(way, answer) for way in drawings]

    return call


def ways_to_drawings(shown: Any) -> Iterator[list[Any]]:
    """The fields that lead to each drawing in what the serializer `shown` answers."""
    from rest_framework.serializers import Serializer  # noqa: PLC0415

    from optics.outputs import Drawn  # noqa: PLC0415

    for field in shown.fields.values():
        inner = getattr(field, "child", field)
        if isinstance(inner, Drawn):
            yield [field]
        elif isinstance(inner, Serializer):
            yield from ([field, *way] for way in ways_to_drawings(inner))


def drawn(way: list[Any], answer: Any) -> Any:
    """The drawing at the end of this way into an answer; a list of them where a list lies on the way."""
    field, *rest = way
    found = field.get_attribute(answer)
    if not rest:
        return field.draw(found)
    return [drawn(rest, each) for each in found] if hasattr(field, "child") else drawn(rest, found)


def measure(rounds: int = 60) -> list[Figure]:
    with database(), ExitStack() as servers:
        set_up()
        from django.core.management import call_command  # noqa: PLC0415

        call_command("migrate", verbosity=0)
        asked = questions()
        calls = {name: core_call(name, body) for name, (body, _, _) in asked.items()}
        site = servers.enter_context(served("site"))
        ours = [Question(site, "POST", f"/api/v1/optics/{name}", {"Content-Type": kind}, body)
                for name, (_, body, kind) in asked.items()]  # fmt: skip
        wakes = replace(ours[0])
        core = clock([wakes, *ours], rounds, calls)
    return figures({name: (each.ms, least) for name, each, least in zip(asked, ours, core, strict=True)})


def figures(found: dict[str, tuple[float, float]]) -> list[Figure]:
    """A row for each endpoint, the slowest first by what it adds."""
    rows = []
    for name, (ms, least) in sorted(found.items(), key=lambda item: item[1][0] - item[1][1], reverse=True):
        over = ms - least
        goal = f"≤ {MOST_MS:.0f} ms over the core: {over:.2f}"
        rows.append(Figure(f"optics: {name.strip('/')}", ms, "ms", least, ms / least, goal, over <= MOST_MS, COMMAND))
    return rows


if __name__ == "__main__":
    print_table(measure(*(int(rounds) for rounds in sys.argv[1:2])))

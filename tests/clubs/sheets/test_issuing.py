"""Sheets as a club keeps them: numbered, unchanging, read by those who may, and what changed from one to the next."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext
from rest_framework.exceptions import PermissionDenied

from clubs.models import Membership, TrailEntry
from clubs.sheets import press
from clubs.sheets.blocks import Faulty
from clubs.sheets.changes import Change, Changes, changes_since, differences
from clubs.sheets.documents import digest
from clubs.sheets.issuing import issue, sheet_in, sheets_in
from tests.clubs.sheets.printed import drawing, of_blocks, text_of
from tests.factories import MembershipFactory

pytestmark = pytest.mark.django_db
FACTS = {"kind": "facts", "rows": [["Hole", "0.35 mm"], ["f-number", "f/259"]]}


@pytest.fixture
def actor() -> Membership:
    return MembershipFactory.create(role="member")


def with_hole(hole: str) -> dict[str, Any]:
    return {"kind": "facts", "rows": [["Hole", hole], ["f-number", "f/259"]]}


# ------------------------------------------------------------------------------------------------------- issuing


def test_a_club_numbers_its_sheets(actor: Membership) -> None:
    other = MembershipFactory.create(role="member")
    made_of = of_blocks(FACTS)
    first, second, elsewhere = (issue(actor=who, document=made_of) for who in (actor, actor, other))
    assert [first.number, second.number, elsewhere.number] == [1, 2, 1]
    assert first.digest == second.digest == digest(made_of) == digest(second.data)
    assert (first.kind, first.subject, first.action, first.issued_by) == (
        "test",
        "camera T1",
        "read_sheets",
        actor.user,
    )


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one lock for everything")
def test_issuing_keeps_no_log_of_the_club_waiting(actor: Membership) -> None:
    """A row that names the club is stored while the club's own is held for no more than its own change."""
    with CaptureQueriesContext(connection) as asked:
        issue(actor=actor, document=of_blocks(FACTS))
    held = [query["sql"] for query in asked.captured_queries if " FOR " in query["sql"]]
    assert [sql.split(" FOR ")[1] for sql in held] == ["NO KEY UPDATE"]


def test_it_is_made_when_it_is_issued(actor: Membership) -> None:
    sheet = issue(actor=actor, document=of_blocks(FACTS, made_at="1999-12-31T00:00:00Z"))
    sheet.refresh_from_db()
    assert sheet.data["made_at"] == sheet.issued_at.isoformat(timespec="seconds")
    assert f"{sheet.issued_at:%Y-%m-%d}" in text_of(press.pdf(sheet.data))
    assert "Sheet 1 · A tea caddy" in text_of(press.pdf(sheet.data))


def test_it_stands_on_the_trail(actor: Membership) -> None:
    sheet = issue(actor=actor, document=of_blocks(FACTS))
    entry = TrailEntry.objects.get(club=actor.club)
    assert (entry.action, entry.subject, entry.actor) == ("issue_sheet", "camera T1", actor.user)
    assert entry.after == {"sheet": 1, "kind": "test", "digest": sheet.digest}


def test_what_cannot_be_set_is_not_issued(actor: Membership) -> None:
    for wrong in ({"kind": "script"}, FACTS | {"rows": 5}):
        with pytest.raises(Faulty):
            issue(actor=actor, document={**of_blocks(FACTS), "sections": [{"title": "", "blocks": [wrong]}]})
    assert not sheets_in(actor=actor).exists()
    assert not TrailEntry.objects.exists()


def test_a_guest_issues_none() -> None:
    with pytest.raises(PermissionDenied, match="A guest of this club may not issue sheets"):
        issue(actor=MembershipFactory.create(role="guest"), document=of_blocks(FACTS))


def test_it_never_changes(actor: Membership) -> None:
    sheet = issue(actor=actor, document=of_blocks(FACTS))
    sheet.subject = "camera T2"
    with pytest.raises(TypeError):
        sheet.save()


def test_who_may_not_read_it_finds_nothing(actor: Membership) -> None:
    leader = MembershipFactory.create(club=actor.club, role="leader")
    sheet = issue(actor=leader, document=of_blocks(FACTS), action="read_places")
    assert sheet_in(actor=leader, id=sheet.id) == sheet
    for stranger in (actor, MembershipFactory.create(role="keeper")):
        with pytest.raises(Http404):
            sheet_in(actor=stranger, id=sheet.id)
    with pytest.raises(Http404):
        sheet_in(actor=leader, id=uuid.uuid4())
    assert list(sheets_in(actor=actor)) == []
    assert list(sheets_in(actor=leader)) == [sheet]


def test_letters_that_no_database_keeps_are_taken_out(actor: Membership) -> None:
    made_of = of_blocks({"kind": "text", "text": "tea\x00 caddy \ud83d"}, title="tin\x00\x07")
    sheet = issue(actor=actor, document=made_of)
    sheet.refresh_from_db()
    assert sheet.data["title"] == "tin"
    assert sheet.data["sections"][0]["blocks"][0]["text"] == "tea caddy \ufffd"
    assert digest(sheet.data) == sheet.digest


# ------------------------------------------------------------------------------------------------------- changes


def test_the_first_sheet_has_none_before_it(actor: Membership) -> None:
    found = changes_since(issue(actor=actor, document=of_blocks(FACTS)))
    assert (found.since, found.changes) == (None, ())
    assert found.text == ["This is the first sheet of its kind for this subject."]


def test_a_sheet_says_what_changed(actor: Membership) -> None:
    issue(actor=actor, document=of_blocks(with_hole("0.35 mm")))
    issue(actor=actor, document=of_blocks(with_hole("0.35 mm"), subject="camera T2"))
    issue(actor=actor, document=of_blocks(with_hole("0.35 mm"), kind="other"))
    second = issue(actor=actor, document=of_blocks(with_hole("0.32 mm")))
    found = changes_since(second)
    words = "What it is, Hole: 0.35 mm → 0.32 mm."
    assert found.since == 1
    assert found.changes == (Change("/sections/0/blocks/0/rows/0/1", "0.35 mm", "0.32 mm", words),)
    assert second.data["changes"] == {"since": 1, "text": [words]}
    assert second.digest == digest(of_blocks(with_hole("0.32 mm")))
    assert "Changed since sheet 1" in text_of(press.pdf(second.data))
    third = issue(actor=actor, document=of_blocks(with_hole("0.32 mm")))
    assert (changes_since(third).since, changes_since(third).text) == (4, ["Nothing of what the sheet says."])
    assert third.digest == second.digest
    assert changes_since(second) == found


def test_a_sheet_that_others_may_not_read_is_not_told_of(actor: Membership) -> None:
    leader = MembershipFactory.create(club=actor.club, role="leader")
    issue(actor=leader, document=of_blocks(with_hole("secret")), action="read_places")
    assert "changes" not in issue(actor=actor, document=of_blocks(FACTS)).data


def changed(old: Any, new: Any) -> list[tuple[str, Any, Any, str]]:
    found = differences(of_blocks(*old), of_blocks(*new))
    return [(change.pointer, change.old, change.new, change.words) for change in found]


TABLE = {"kind": "table", "columns": ["EV", "Time"], "rows": [["12", "20 s"], ["13", "9 s"]], "note": ""}
AT = "/sections/0/blocks/0"
CASES: list[tuple[Any, Any, list[tuple[str, Any, Any, str]]]] = [
    ([FACTS], [FACTS], []),
    (
        [FACTS],
        [{"kind": "facts", "rows": [["f-number", "f/259"], ["Plate", "0.1 mm"]]}],
        [
            (f"{AT}/rows/1", None, ["Plate", "0.1 mm"], "New: line “Plate” in “What it is”."),
            (f"{AT}/rows/0", ["Hole", "0.35 mm"], None, "Gone: line “Hole” in “What it is”."),
        ],
    ),
    (
        [TABLE],
        [TABLE | {"rows": [["13", "10 s"], ["12", "20 s"]], "note": "new"}],
        [
            (f"{AT}/rows/0/1", "9 s", "10 s", "What it is, 13, Time: 9 s → 10 s."),
            (f"{AT}/note", "", "new", "What it is: the note reads otherwise."),
        ],
    ),
    (
        [TABLE],
        [TABLE | {"columns": ["EV", "Wait"]}],
        [(f"{AT}/columns", ["EV", "Time"], ["EV", "Wait"], "What it is: the table has other columns.")],
    ),
    (
        [{"kind": "steps", "items": ["Mark.", "Cut."]}],
        [{"kind": "steps", "items": ["Mark.", "Drill.", "Tape."]}],
        [
            (f"{AT}/items/1", "Cut.", "Drill.", "What it is, line 2: Cut. → Drill."),
            (f"{AT}/items/2", None, "Tape.", "What it is, line 3: none → Tape."),
        ],
    ),
    (
        [{"kind": "text", "text": "old"}, FACTS],
        [FACTS, {"kind": "fold"}, {"kind": "text", "text": "new"}],
        [
            ("/sections/0/blocks/1", None, "fold", "New: fold in “What it is”."),
            ("/sections/0/blocks/2/text", "old", "new", "What it is: old → new."),
        ],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "told"), CASES)
def test_changes_of_each_kind(old: Any, new: Any, told: Any) -> None:
    assert changed(old, new) == told


def test_a_changed_drawing_is_told_by_its_hash() -> None:
    one = drawing("<g/>", 40, 10, caption="The lid.")
    two = drawing('<rect width="9" height="9"/>', 50, 10, caption="The lid.")
    found = changed([one], [two])
    assert [at for at, *_ in found] == [f"{AT}/svg", f"{AT}/width_mm"]
    assert found[0][3] == "What it is: the drawing “The lid.” differs."
    assert all(str(value).startswith("sha256:") for value in found[0][1:3])
    assert (found[1][1], found[1][2]) == (40.0, 50.0)


def test_sections_come_and_go() -> None:
    old, new = of_blocks(FACTS), of_blocks(FACTS)
    new["sections"] = [{"title": "Other", "blocks": []}, *new["sections"]]
    assert differences(old, new) == (Change("/sections/0", None, "Other", "New: section “Other”."),)
    assert differences(new, old) == (Change("/sections/0", "Other", None, "Gone: section “Other”."),)


def test_a_new_title_and_paper_are_changes() -> None:
    found = differences(of_blocks(FACTS), of_blocks(FACTS, title="A biscuit drum", page="letter"))
    assert [change.pointer for change in found] == ["/title", "/page"]


def test_very_many_changes_are_counted() -> None:
    rows = [[f"row {n}", "a"] for n in range(100)]
    old, new = (of_blocks({"kind": "facts", "rows": [[a, b + end] for a, b in rows]}) for end in ("", "!"))
    text = Changes(3, differences(old, new)).text
    assert (len(text), text[-1]) == (41, "And 60 more.")

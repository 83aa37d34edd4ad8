"""Sheets through the API: tried, asked about, mapped, imported, undone; and every row accounted for."""

from collections import Counter
from typing import Any

import pytest

from clubs.models import Camera, TrailEntry
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog, ImportBatch, Paper
from tests.exposures.imports.messy import ANSWERS, HEADING, as_csv, as_xlsx, messy_rows
from tests.factories import ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of

SHORT = ["Date", "Box", "Paper", "EV", "Time"]
GOOD = ["2026-05-01T12:00Z", "T1", "Glasswort", "13", "4 min 50"]


def cells() -> list[tuple[Any, ...]]:
    """The evidence cells, and what the log itself sums to: they must be the same."""
    names = ("paper_id", "spec_id", "member_id", "grade", "shared", "logs")
    kept = sorted(EvidenceCell.objects.filter(logs__gt=0).values_list(*names), key=str)
    assert kept == sorted(summed(ExposureLog.objects.all()).values_list(*names), key=str)
    return kept


# ----------------------------------------------------------------------------------------------- a messy sheet


def test_a_messy_sheet_of_five_thousand_rows(here: Any) -> None:
    rows, kinds = messy_rows(5000)
    batch = here.bring(as_csv(HEADING, rows))
    guessed = {column["column"]: column["field"] for column in batch["columns"]}
    assert guessed == {
        "Date": "taken_at", "Box": "camera", "Paper": "paper", "f": "f_number", "EV": "reading.ev",
        "Exposed (min)": "exposure_time", "Over/under": "result.judged_stops", "Notes": "note",
    }  # fmt: skip
    asked = {(each["column"], each["about"]): each["suggestion"] for each in batch["questions"]}
    assert asked == {
        ("Date", "date"): "day_first", ("Date", "zone"): None, ("EV", "decimal"): ",",
        ("Exposed (min)", "decimal"): ",", ("Over/under", "decimal"): ",",
    }  # fmt: skip
    assert ExposureLog.objects.count() == 0

    batch = here.change(batch, ANSWERS)
    assert batch["questions"] == []
    told = ImportBatch.objects.get().report
    assert [row["row"] for row in told] == list(range(2, 5002))
    codes = Counter(fault["code"] for row in told for fault in row["faults"])
    assert codes == {code: kinds[code] for code in ("unknown_camera", "required")}
    assert batch["rows"]["good"] == kinds["good"]
    assert batch["rows"]["faulty"] == kinds["unknown_camera"] + kinds["required"]
    assert batch["rows"]["empty"] == kinds["empty"]
    assert sum(batch["rows"].values()) == 5000

    done = here.apply(batch, "good")
    assert (done["state"], done["rows"]["imported"]) == ("imported", kinds["good"])
    assert ExposureLog.objects.count() == kinds["good"]
    assert sum(row[-1] for row in cells()) == ExposureLog.objects.exclude(result__isnull=True).count() > 0

    undone = here.undo(done)
    assert (undone["state"], undone["rows"]["undone"]) == ("undone", kinds["good"])
    assert ExposureLog.objects.count() == 0
    assert cells() == []


def test_what_the_cells_say(here: Any) -> None:
    """Each row against what a person would type into the API."""
    rows = [
        ["1.5.2026", "t1", "glasswort", "f/259", "12,5", "4,5", "+½", "a"],
        ["2026-12-01 11:02", "Tea caddy 2", "Glasswort", "", "13", "4 min 50", "-0,5", ""],
        ["2.5.2026", "T1", "Glasswort", "f 259", "13", "1h05", "", ""],
    ]
    done = here.apply(here.change(here.bring(as_csv(HEADING, rows)), ANSWERS))
    assert done["rows"]["imported"] == 3
    first, second, third = ExposureLog.objects.order_by("number").select_related("spec__camera")
    assert (first.spec.camera.code, first.ev100, first.exposure_time_s, first.result_stops) == ("T1", 12.5, 270, 0.5)
    assert (first.typed_time, first.taken_at.isoformat()) == ("4.5 min", "2026-05-01T11:00:00+00:00")
    assert (second.spec.camera.code, second.exposure_time_s, second.result_stops) == ("T2", 290, -0.5)
    assert second.taken_at.isoformat() == "2026-12-01T11:02:00+00:00"
    assert (third.exposure_time_s, third.result, third.note) == (3900, None, "")


def test_all_or_nothing(here: Any) -> None:
    rows, _ = messy_rows(60)
    batch = here.change(here.bring(as_csv(HEADING, rows)), ANSWERS)
    refused = here.apply(batch, "all", 409)
    assert [(fault["pointer"], fault["code"]) for fault in refused["errors"]] == [("/rows/51/camera", "unknown_camera")]
    assert refused["detail"] == "This club has no camera “T11”. Did you mean T1?"
    assert ExposureLog.objects.count() == 0
    assert here.client.get(f"{here.at}{batch['id']}/").json() == batch


def test_a_workbook_says_the_same_as_a_csv(here: Any) -> None:
    rows, kinds = messy_rows(150)
    by_csv = here.change(here.bring(as_csv(HEADING, rows)), ANSWERS)
    by_xlsx = here.change(here.bring(as_xlsx(HEADING, rows), name="log.xlsx"), ANSWERS)
    assert by_csv["rows"]["good"] == kinds["good"]
    assert [row["read"] for row in here.rows(by_csv)] == [row["read"] for row in here.rows(by_xlsx)]


# ------------------------------------------------------------------------------------------------ once and undone


def test_applying_twice_is_harmless(here: Any) -> None:
    batch = here.bring(as_csv(SHORT, [GOOD]))
    done = here.apply(batch)
    assert here.apply(batch) == done
    again = here.bring(as_csv(SHORT, [GOOD]))
    assert again["rows"]["known"] == 1
    assert here.apply(again)["rows"]["known"] == 1
    assert ExposureLog.objects.count() == 1
    here.undo(here.client.get(f"{here.at}{again['id']}/").json())
    assert ExposureLog.objects.count() == 1
    here.undo(done)
    assert ExposureLog.objects.count() == 0


def test_two_equal_rows_are_two_logs(here: Any) -> None:
    assert here.apply(here.bring(as_csv(SHORT, [GOOD, GOOD])))["rows"]["imported"] == 2
    assert ExposureLog.objects.count() == 2


def test_the_same_sheet_by_another_member_is_told(here: Any) -> None:
    here.apply(here.bring(as_csv(SHORT, [GOOD])))
    here.client = here.join("member")
    refused = here.apply(here.bring(as_csv(SHORT, [GOOD])), "all", 409)
    assert refused["errors"][0]["code"] == "conflict"
    assert ExposureLog.objects.count() == 1


def test_undoing_leaves_everything_else(here: Any) -> None:
    before = ExposureLogFactory.create(spec=Camera.objects.get(code="T1").spec, paper=here.paper)
    kept = cells()
    done = here.apply(here.bring(as_csv([*SHORT, "Result"], [[*GOOD, "+1"]])))
    assert len(cells()) == 2
    here.undo(done)
    assert list(ExposureLog.objects.all()) == [before]
    assert cells() == kept
    assert [entry.action for entry in TrailEntry.objects.order_by("id")] == ["import_rows", "undo_import"]


def test_what_is_corrected_is_not_undone(here: Any) -> None:
    done = here.apply(here.bring(as_csv(SHORT, [GOOD, ["2026-05-02T12:00Z", *GOOD[1:]]])))
    log = ExposureLog.objects.order_by("number").last()
    ExposureLogFactory.create(spec=log.spec, paper=log.paper, corrects=log)
    refused = here.undo(done, 409)
    assert [(fault["pointer"], fault["code"]) for fault in refused["errors"]] == [("/rows/3", "rests_on_it")]
    assert ExposureLog.objects.count() == 3


def test_undone_and_brought_in_again(here: Any) -> None:
    undone = here.undo(here.apply(here.bring(as_csv(SHORT, [GOOD]))))
    here.apply(undone, "all", 409)
    assert here.apply(here.change(undone, {}))["rows"]["imported"] == 1


# --------------------------------------------------------------------------------------------- papers and cameras


def test_cameras(here: Any) -> None:
    heading = ["Code", "Name", "Shape", "Diameter", "Length", "Height", "Hole", "Made by the club"]
    rows = [
        ["K1", "Biscuit drum", "drum", "100", "150", "80", "0,35 mm", "x"],
        ["K2", "Slide box", "flat", "", "", "80", "0,30 mm", ""],
        ["T1", "Tea caddy", "drum", "90", "120", "80", "0,3", ""],
        ["K1", "Biscuit drum", "drum", "100", "150", "80", "0,35 mm", ""],
    ]
    batch = here.bring(as_csv(heading, rows), kind="cameras")
    lengths = {"Diameter": "diameter", "Length": "length", "Height": "height"}
    columns = [
        {"column": name, "field": f"spec.film_plane.{field}", "format": {"unit": "mm"}}
        for name, field in lengths.items()
    ]
    columns += [
        {"column": "Hole", "field": "spec.hole.diameter", "format": {"decimal": ",", "unit": "mm"}},
        {"column": "Made by the club", "field": "club_owned"},
    ]
    batch = here.change(batch, {"columns": columns})
    faults = {row["row"]: {(f["field"], f["code"]) for f in row["faults"]} for row in here.rows(batch, "&state=faulty")}
    assert faults == {
        3: {("spec.film_plane.width", "required"), ("spec.film_plane.distance", "required")},
        4: {("code", "taken")},
        5: {("code", "taken")},
    }
    done = here.apply(batch, "good")
    camera = Camera.objects.get(code="K1")
    assert (camera.owner, camera.spec.hole_diameter_mm, camera.spec.film_plane["diameter_mm"]) == (None, 0.35, 100)
    here.undo(done)
    assert set(Camera.objects.values_list("code", flat=True)) == {"T1", "T2"}


def test_a_camera_that_was_used_stays(here: Any) -> None:
    heading = ["Code", "Name", "Width", "Height", "Distance", "Hole"]
    row = ["K1", "Slide box", "100 mm", "80 mm", "70 mm", "0.3 mm"]
    batch = here.bring(as_csv(heading, [row, ["K2", *row[1:]]]), kind="cameras")
    assert [each["field"] for each in batch["questions"]] == ["spec.film_plane.kind"]
    done = here.apply(here.change(batch, {"fixed": {"spec.film_plane.kind": "flat"}}))
    ExposureLogFactory.create(spec=Camera.objects.get(code="K2").spec, paper=here.paper)
    refused = here.undo(done, 409)
    assert [(fault["pointer"], fault["detail"]) for fault in refused["errors"]] == [
        ("/rows/3", "1 exposure was logged with it.")
    ]


def test_papers(here: Any) -> None:
    heading = ["Paper", "Family", "EI", "Size", "Expiry", "Sheets left"]
    rows = [
        ["Samphire", "graded paper", "6", "8x10 in", "1.3.2027", "25"],
        ["Glasswort", "graded paper", "6", *[""] * 3],
    ]
    mapping = {
        "columns": [
            {"column": "Size", "field": "size"},
            {"column": "Expiry", "field": "expires_on", "format": {"date": "day_first"}},
        ]
    }
    batch = here.change(here.bring(as_csv(heading, rows), kind="papers"), mapping)
    assert [row["faults"][0]["code"] for row in here.rows(batch, "&state=faulty")] == ["taken"]
    done = here.apply(batch, "good")
    paper = Paper.objects.get(name="Samphire")
    assert (paper.width_mm, paper.expires_on.isoformat(), paper.sheets_left) == (203.2, "2027-03-01", 25)
    here.undo(done)
    assert Paper.objects.count() == 1


# ------------------------------------------------------------------------------------------------------ who may


def test_whose_logs(here: Any) -> None:
    other = MembershipFactory.create(club=here.club, role="member")
    guest = MembershipFactory.create(club=here.club, role="guest")
    names = [other.user.get_username(), "nobody", guest.user.get_username()]
    rows = [[*GOOD, name] for name in names]
    batch = here.bring(as_csv([*SHORT, "Who"], rows))
    assert [fault["code"] for row in here.rows(batch) for fault in row["faults"]] == ["unknown_member", "not_allowed"]
    here.apply(batch, "good")
    assert ExposureLog.objects.get().member == other.user
    here.client = here.join("leader")
    batch = here.bring(as_csv([*SHORT, "Who"], rows[:1]))
    assert [fault["code"] for row in here.rows(batch) for fault in row["faults"]] == ["not_allowed"]


def test_batches_are_ones_own_and_keepers(here: Any) -> None:
    member, other = here.join("member"), here.join("leader")
    batch = here.bring(as_csv(SHORT, [GOOD]), client=member)
    listed = [client.get(here.at).json()["results"] for client in (member, here.client, other)]
    assert [len(each) for each in listed] == [1, 1, 0]
    problem_of(other.get(f"{here.at}{batch['id']}/"), 404)
    assert here.client.get(f"{here.at}{batch['id']}/rows/").status_code == 200
    private = here.bring(as_csv([*SHORT, "Visibility"], [[*GOOD, "private"]]), client=member)
    problem_of(here.client.get(f"{here.at}{private['id']}/rows/"), 404)
    assert member.get(f"{here.at}{private['id']}/rows/").status_code == 200


def test_only_who_brought_private_rows_in_maps_and_imports_them(here: Any) -> None:
    """Else a keeper could read them: with another mapping, or as their own private entries."""
    member = here.join("member")
    private = here.bring(as_csv([*SHORT, "Visibility"], [[*GOOD, "private"]]), client=member)
    aside = {"columns": [{"column": "Visibility", "field": None}]}
    here.change(private, aside, 403)
    here.apply(private, status=403)
    assert not ExposureLog.objects.exists()
    here.client = member
    here.apply(private)
    assert ExposureLog.objects.get().private


def test_papers_take_a_leader(here: Any) -> None:
    sheet = as_csv(["Paper", "Family", "EI"], [["Samphire", "graded paper", "6"]])
    assert "add paper" in problem_of(here.send(sheet, client=here.join("member"), kind="papers"), 403)["detail"]
    assert here.send(sheet, client=here.join("leader"), kind="papers").status_code == 201


def test_only_so_many_are_kept_untouched(here: Any, settings: Any) -> None:
    settings.PINPOOL = {"MAX_IMPORTS_TRIED": 2}
    first, *others = [here.bring(as_csv(SHORT, [GOOD])) for _ in range(3)]
    assert {str(pk) for pk in ImportBatch.objects.values_list("pk", flat=True)} == {each["id"] for each in others}
    problem_of(here.client.get(f"{here.at}{first['id']}/"), 404)


def test_changes_say_which_revision_they_mean(here: Any) -> None:
    batch = here.bring(as_csv(SHORT, [GOOD]))
    for path, method, body in (("", "patch", {}), ("apply/", "post", {"rows": "all"}), ("undo/", "post", {})):
        call = getattr(here.client, method)
        problem_of(call(f"{here.at}{batch['id']}/{path}", body), 428)
        problem_of(call(f"{here.at}{batch['id']}/{path}", body, headers={"If-Match": '"r7"'}), 412)


# ------------------------------------------------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("column", "cell", "fault"),
    [
        ("Box", "T9", ("camera", "unknown_camera")),
        ("Paper", "Samphire", ("paper", "unknown_paper")),
        ("EV", "12,5", ("reading.ev", "decimal_comma")),
        ("EV", "99", ("reading.ev", "out_of_range")),
        ("EV", "bright", ("reading.ev", "bad_number")),
        ("Time", "4,5 min", ("exposure_time", "decimal_comma")),
        ("Time", "4", ("exposure_time", "unit_missing")),
        ("Time", "4:50", ("exposure_time", "colon")),
        ("Time", "0 s", ("exposure_time", "out_of_range")),
        ("Time", "=A1*2", ("exposure_time", "formula")),
        ("Time", "#DIV/0!", ("exposure_time", "cell_error")),
        ("Time", "", ("exposure_time", "required")),
        ("Date", "1.5.2026", ("taken_at", "date_order")),
        ("Date", "2026-05-01", ("taken_at", "no_clock")),
        ("Date", "2026-05-01 12:00", ("taken_at", "no_offset")),
        ("Date", "2026-02-30T12:00Z", ("taken_at", "invalid")),
        ("Date", "1849-05-01T12:00Z", ("taken_at", "out_of_range")),
    ],
)
def test_each_fault_names_its_cell(here: Any, column: str, cell: str, fault: tuple[str, str]) -> None:
    row = dict(zip(SHORT, GOOD, strict=True)) | {column: cell}
    columns = [
        {"column": name, "field": field}
        for name, field in zip(SHORT, ("taken_at", "camera", "paper", "reading.ev", "exposure_time"), strict=True)
    ]
    batch = here.change(here.bring(as_csv(SHORT, [list(row.values())])), {"columns": columns})
    [told] = here.rows(batch)
    [found] = told["faults"]
    assert (found["field"], found["code"]) == fault
    assert (found["column"], found["cell"]) == (column, cell)


def test_every_fault_of_a_row_at_once(here: Any) -> None:
    batch = here.bring(as_csv(SHORT, [["yesterday", "T9", "Samphire", "99", "soon"]]))
    [row] = here.rows(batch)
    assert {fault["column"] for fault in row["faults"]} == set(SHORT)


def test_rows_come_in_pages(here: Any) -> None:
    rows, kinds = messy_rows(300)
    batch = here.change(here.bring(as_csv(HEADING, rows)), ANSWERS)
    assert [row["row"] for row in here.rows(batch)] == list(range(2, 302))
    assert len(here.rows(batch, "&state=faulty")) == kinds["unknown_camera"] + kinds["required"]


def test_another_f_number_is_another_camera(here: Any) -> None:
    for told, good in (("f/259", True), ("f/256", True), ("f/220", False)):
        [row] = here.rows(here.bring(as_csv([*SHORT, "f"], [[*GOOD, told]])))
        assert (row["state"] == "good") is good
    assert row["faults"][0]["code"] == "f_number_differs"


def test_mappings_that_are_none(here: Any) -> None:
    batch = here.bring(as_csv(SHORT, [GOOD]))

    def refused(body: Any, status: int = 400) -> set[tuple[str, str]]:
        return faults_in(here.client.patch(f"{here.at}{batch['id']}/", body, headers={"If-Match": "*"}), status)

    column = {"column": "Time", "field": "exposure_time"}
    assert refused({"columns": [column | {"field": "colour"}]}) == {("/columns/0/field", "unknown_field")}
    assert refused({"columns": [column | {"column": "Colour"}]}, 422) == {("/columns/0/column", "unknown_column")}
    assert refused({"columns": [column | {"field": "camera"}]}, 422) == {("/columns/0/field", "repeated_field")}
    assert refused({"columns": [column | {"format": {"unit": "mm"}}]}) == {("/columns/0/format/unit", "unit_unknown")}
    assert refused({"columns": [column | {"format": {"zone": "UTC"}}]}) == {("/columns/0/format/zone", "unknown_key")}
    assert refused({"columns": [column | {"format": {"zone": "../etc"}}]}) == {
        ("/columns/0/format/zone", "unknown_zone")
    }
    assert refused({"fixed": {"club": "creek"}}) == {("/fixed/club", "unknown_field")}
    assert refused({"state": "imported"}) == {("/state", "unknown_key")}


def test_the_file_name_is_a_name(here: Any) -> None:
    for told, kept in (("../../etc/passwd.csv", "passwd.csv"), ("C:\\logs\\a<b>.csv", "a<b>.csv")):
        assert here.bring(as_csv(SHORT, [GOOD]), name=told)["file_name"] == kept

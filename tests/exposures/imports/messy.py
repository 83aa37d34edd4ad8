"""Invented sheets as clubs keep them, with every habit that makes them hard to read."""

import csv
from io import BytesIO, StringIO
from typing import Any

import numpy as np
from openpyxl import Workbook

HEADING = ["Date", "Box", "Paper", "f", "EV", "Exposed (min)", "Over/under", "Notes"]


def messy_rows(count: int, *, seed: int = 5) -> tuple[list[list[str]], dict[str, int]]:
    """Rows below `HEADING` for cameras T1, T2 (f/259) and the paper Glasswort, and how many must be of which kind.

    Dates in two styles, decimal commas, times in four forms, an f-number in two, cells left empty. Every 50th row has
    a camera that does not exist, every 80th no exposure time, one in 125 is empty.
    """
    rng = np.random.default_rng(seed)
    rows, kinds = [], {"good": 0, "unknown_camera": 0, "required": 0, "empty": 0}
    for number in range(1, count + 1):
        if number % 125 == 60:
            rows.append([""] * len(HEADING))
            kinds["empty"] += 1
            continue
        day, month, year = int(rng.integers(1, 29)), int(rng.integers(1, 13)), int(rng.integers(2015, 2026))
        seconds = int(rng.integers(30, 3000))
        times = (f"{seconds / 60:.2f}".replace(".", ","), f"{seconds // 60} min {seconds % 60:02}", f"{seconds} s",
                 f"{seconds // 3600}h{seconds % 3600 // 60:02}" if seconds >= 60 else f"{seconds} sec.")  # fmt: skip
        row = [
            f"{year}-{month:02}-{day:02} 11:{number % 60:02}" if number % 3 else f"{day}.{month}.{year}",
            f"T{1 + number % 2}" if number % 5 else f"tea caddy {1 + number % 2}",
            "Glasswort" if number % 4 else "GLASSWORT",
            ("f/259", "259", "")[number % 3],
            f"{rng.uniform(8, 15):.1f}".replace(".", ","),
            times[number % 4],
            ("", "+½", "-0,5", "0", "1/3")[number % 5],
            ("", "cloud; then sun", "<script>alert(1)</script>")[number % 3],
        ]
        if number % 50 == 0:
            row[1] = "T11"
            kinds["unknown_camera"] += 1
        elif number % 80 == 0:
            row[5] = ""
            kinds["required"] += 1
        else:
            kinds["good"] += 1
        rows.append(row)
    return rows, kinds


#: What a person answers when asked about such a sheet.
ANSWERS: dict[str, Any] = {
    "columns": [
        {"column": "Date", "field": "taken_at",
         "format": {"date": "day_first", "zone": "Europe/Lisbon", "clock": "12:00"}},
        {"column": "EV", "field": "reading.ev", "format": {"decimal": ","}},
        {"column": "Exposed (min)", "field": "exposure_time", "format": {"decimal": ",", "unit": "min"}},
        {"column": "Over/under", "field": "result.judged_stops", "format": {"decimal": ","}},
    ]
}  # fmt: skip


def as_csv(heading: list[Any], rows: list[list[Any]], *, delimiter: str = ";") -> bytes:
    """The sheet as UTF-8."""
    text = StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\r\n").writerows([heading, *rows])
    return text.getvalue().encode()


def as_xlsx(heading: list[Any], rows: list[list[Any]]) -> bytes:
    """The sheet as a workbook of one sheet."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("Log")
    for row in [heading, *rows]:
        sheet.append([None if cell == "" else cell for cell in row])
    file = BytesIO()
    book.save(file)
    return file.getvalue()

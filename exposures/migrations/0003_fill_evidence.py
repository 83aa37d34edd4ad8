"""Fill in, for logs and papers stored before, what 0002 added: evidence, its cells, and catalogue keys.

Written out here, so that later changes to the code that does this every day cannot change what was migrated.
"""

import re
import unicodedata
from math import log2
from typing import Any

from django.db import migrations


def plain_words(text: str) -> str:
    text = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    kept = "".join(sign if unicodedata.category(sign)[0] in "LMN" else " " for sign in text)
    apart = re.sub(r"(?<=\d)(?=[^\d\s])|(?<=[^\d\s])(?=\d)", " ", kept)
    return " ".join(apart.split()) or text.strip().replace("|", "/")


def fill(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001  (Django's signature)
    Paper, ExposureLog, EvidenceCell, Pool = (
        apps.get_model("pinpool_exposures", name) for name in ("Paper", "ExposureLog", "EvidenceCell", "Pool")
    )
    for paper in Paper.objects.all():
        paper.catalogue_key = f"{plain_words(paper.name)[:130].rstrip()}|{plain_words(paper.family)[:69].rstrip()}"
        paper.save(update_fields=["catalogue_key"])
    cells: dict[tuple[Any, ...], list[float]] = {}
    changed = []
    for log in ExposureLog.objects.filter(result__isnull=False).order_by("number").iterator(chunk_size=2000):
        measured = isinstance(log.result, dict) and "density" in log.result
        bracketed = log.right_time_s is not None
        if not bracketed and log.result_stops is None:
            continue
        log.grade = "bracketed" if bracketed else "densitometer" if measured else "judged"
        log.time_stops = log2(log.right_time_s if bracketed else log.exposure_time_s)
        log.effect_stops = log2(log.indicated_time_s * log.exposure_index) + (0.0 if bracketed else log.result_stops)
        changed.append(log)
        u = log.time_stops
        x, y = max(u, 0.0), log.effect_stops - min(u, 0.0)
        key = (log.club_id, log.paper_id, log.spec_id, log.member_id, log.grade, log.shared)
        sums = cells.setdefault(key, [0, 0.0, 0.0, 0.0, 0.0, 0.0, u, u])
        for place, more in enumerate((1, x, x * x, y, x * y, y * y)):
            sums[place] += more
        sums[6], sums[7] = min(sums[6], u), max(sums[7], u)
        if len(changed) == 2000:
            ExposureLog.objects.bulk_update(changed, ["grade", "time_stops", "effect_stops"])
            changed = []
    ExposureLog.objects.bulk_update(changed, ["grade", "time_stops", "effect_stops"])
    keys = ("club_id", "paper_id", "spec_id", "member_id", "grade", "shared")
    names = ("logs", "x", "xx", "y", "xy", "yy", "shortest_stops", "longest_stops")
    rows = [dict(zip(keys + names, (*key, *sums), strict=True)) for key, sums in cells.items()]
    EvidenceCell.objects.bulk_create([EvidenceCell(**row) for row in rows], batch_size=500)
    for club in {row["club_id"] for row in rows}:
        Pool.objects.get_or_create(club_id=club)


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0002_evidence")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]

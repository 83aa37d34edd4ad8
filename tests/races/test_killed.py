"""A server killed in the middle of its work: what it acknowledged is there, once. On the database of the run."""

import random
import threading
import uuid

from tests.served import PREPARE, Server, send, shell

LOGS, KILLS = 1000, 4
COUNT = """
import json
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
ids = [str(id) for id in ExposureLog.objects.values_list("id", flat=True)]
from_logs = sum(row["logs"] for row in summed(ExposureLog.objects.all()))
print(json.dumps({"ids": ids, "cells": sum(EvidenceCell.objects.values_list("logs", flat=True)), "logs": from_logs}))
"""


def test_every_acknowledged_log_is_there_once(own_database: dict[str, str]) -> None:
    """A client chooses the ids and sends again whatever nobody answered, while the server is killed again and again."""
    known = shell(own_database, PREPARE)
    server, done = Server(own_database), threading.Event()
    rng = random.Random(1)  # noqa: S311

    def murder() -> None:
        for _ in range(KILLS):
            if done.wait(rng.uniform(1.0, 2.5)):
                return
            server.kill()
            server.start()

    murderer = threading.Thread(target=murder)
    murderer.start()
    ids = [str(uuid.UUID(int=rng.getrandbits(128), version=4)) for _ in range(LOGS)]
    try:
        answers = [send(server.port, known, chosen) for chosen in ids]
    finally:
        done.set()
        murderer.join()
        server.kill()
    assert {status for status, _ in answers} <= {200, 201}
    assert sum(tries for _, tries in answers) > LOGS  # some were sent again
    stored = shell(own_database, COUNT)
    assert sorted(stored["ids"]) == sorted(ids)
    assert stored["cells"] == stored["logs"] == LOGS

"""The sentences of a recommendation, as a club member reads them."""

import numpy as np

from exposures.reciprocity.cells import NO_CELLS, Cells, Logs
from exposures.reciprocity.recommendation import recommend
from exposures.reciprocity.result import fit
from optics.core.say import say_time
from tests.exposures.reciprocity.made import club


def test_the_reasons_are_sentences_with_the_figures_of_the_answers() -> None:
    made = club(8)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    answer = recommend(found, paper=1, camera=15, member=1, indicated_s=120.0, nominal_index=6.0)
    line, camera, member = found.line(1), found.offset("camera", 15), found.offset("member", 1)
    index, logs = 6 * 2**line.speed, int((made.logs.paper == 1).sum())
    assert answer.because[0].startswith(f"{logs} logs of this paper by 12 members with 19 cameras, from 0.65 s to 14 ")
    says = f"put its index at {index:.2g} against a nominal 6 and its exponent at {1 / line.slope:.2f} ("
    assert says in answer.because[0]
    assert " ".join(answer.because[1:]) == (
        f"This camera passes {camera.stops:.1f} ± {camera.error_stops:.1f} stop more light than its f-number says, "
        "by 13 logs. "
        f"Your results come out {member.stops:.1f} ± {member.error_stops:.1f} stop over where others' are right, "
        "by 109 logs. "
        f"So where the meter asks for 2 min, give {say_time(answer.time_s)}; nine times in ten the right time lies "
        f"between {say_time(answer.ninety[0])} and {say_time(answer.ninety[1])}."
    )
    fresh = recommend(found, paper="new", camera="new", member="new", indicated_s=120.0).because
    assert "others like it put its speed at " in fresh[0]
    differ = f"± {found.offset('camera', 'new').error_stops:.1f} stop"
    assert fresh[1] == f"Nobody has logged this camera; that cameras differ by {differ} is in the interval."
    zero = np.zeros(1, dtype=int)
    one = Logs(zero, zero, zero, zero, np.array([5.0]), np.array([5.5]))
    alone = recommend(fit(Cells.from_logs(one)), paper=0, camera=0, member=0, indicated_s=60.0).because
    assert alone[0].startswith("1 log of this paper by 1 member with 1 camera, at 32 s, puts ")
    assert alone[2] == "Your results come out as others' do, ± 0.3 stop, by 1 log."
    nothing = recommend(fit(NO_CELLS), paper=0, indicated_s=60.0, nominal_index=6.0).because
    assert nothing[0].startswith("Nobody has logged this paper or any other: its nominal index of 6 and ")
    assert nothing[1].endswith("and more than a year.")

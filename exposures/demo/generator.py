"""A season of invented exposures, the same for the same seed. Nothing here was ever photographed.

How one exposure comes about, in the order in which the random numbers are drawn:

1. The club goes on `WALKS` walks from April to September. Each has a sky from `SKIES`, whose EV at ISO 100 is that of
   noon; the light falls off towards both ends of the day by 0.06 EV for each squared hour from 13:00, clouds move it
   by ± `CLOUDS_STOPS`, and one subject in `IN_SHADE` lies in open shade, two stops darker.
2. A member takes a camera and the paper in turn, meters in their own way, and writes down what the meter says, rounded
   as meters are. The indicated time t_i is computed from what was written down: N²/(2^EV · EI/100), filter included.
3. The paper is a power law with invented truth (a, q) of `PAPERS`: with u = log₂ t the effect of a time t is
   a + q·max(u, 0) + min(u, 0) stops; the time that suits t_i has the effect log₂ t_i.
4. The member gives a time near that one, `AIM_STOPS` off on log₂ t, or, one time in `TRUSTS_THE_METER`, the
   indicated time itself; then rounds it as people do. Times above `LONGEST_S` are not waited for: all is drawn again.
5. The picture is over or under by effect − log₂ t_i + b + c + ε stops: b is the camera's offset (holes are less
   well measured than their owners think: `HOLE_STOPS`), c the member's (some call a good negative thin: `EYE_STOPS`),
   ε single scatter of `SCATTER_STOPS`. All three are normal with mean 0; b and c are drawn once, by themselves.
6. It is told as stops judged to the nearest quarter, as the right time (read off a test strip), as a density, or not
   at all: not yet developed. See `TOLD`. All but one in `UNSHARED` are marked shared.
7. One entry is wrong: of the first judged picture that had `MISTYPED_S` seconds, the seconds are typed as minutes.

So the truth that the log should give back is (a, q) of each paper, b of each camera and c of each member.
"""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np

from optics.core import light
from optics.core.light import Light
from optics.core.say import say_time
from pinpool.quantities import read_quantity

SEED = 20_250_406
EXPOSURES = 200

FIRST_WALK, WALKS, DAYS_BETWEEN = date(2025, 4, 6), 25, 7
SKIES = {"clear sky": 14.7, "thin cloud": 13.7, "overcast": 12.4, "heavy cloud": 11.2}
WEATHER = {"clear sky": "bright", "thin cloud": "hazy", "overcast": "grey and even", "heavy cloud": "dull"}
CLOUDS_STOPS, IN_SHADE = 0.3, 6
AIM_STOPS, TRUSTS_THE_METER, LONGEST_S = 0.7, 8, 3 * 3600
SCATTER_STOPS, HOLE_STOPS, EYE_STOPS = 0.25, 0.2, 0.1
UNSHARED = 10
#: Whole seconds that look no stranger as minutes.
MISTYPED_S = range(20, 60)
TOLD = {"judged_stops": 0.7, "right_time": 0.15, "density": 0.1, "nothing": 0.05}
#: A negative is printed for this density of its mid-tone, and a paper gains this much per tenfold exposure. Invented.
TARGET_DENSITY, GRADIENT = 0.6, 1.3

PLACES = (
    "the sluice", "the hulk on the mud", "the heron's pool", "the boardwalk", "the tide mill", "the bird hide",
    "the samphire beds", "the old groynes", "the sea wall", "the ferry steps",
)  # fmt: skip


@dataclass(frozen=True)
class TruePaper:
    """An invented paper with its invented truth: a (`offset_stops`) and q (`slope`) of the model above."""

    name: str
    family: str
    nominal_exposure_index: float
    offset_stops: float
    slope: float
    process: str

    @property
    def exposure_index(self) -> float:
        """The index it really has, below 1 s."""
        return float(self.nominal_exposure_index * 2**self.offset_stops)

    def effect_stops(self, time_s: float) -> float:
        """log₂ of the indicated time that a given time suits."""
        u = np.log2(time_s)
        return float(self.offset_stops + self.slope * max(u, 0.0) + min(u, 0.0))

    def right_time_s(self, effect_stops: float) -> float:
        """The time with this effect."""
        y = effect_stops - self.offset_stops
        return float(2 ** (y / self.slope if y > 0 else y))


#: No figure here was measured, and none belongs to any paper that can be bought.
PAPERS = (
    TruePaper("Glasswort 2", "graded paper", 6.0, -0.40, 0.80, "tray, 2 min at 20 °C"),
    TruePaper("Samphire 3", "graded paper", 4.0, 0.30, 0.77, "tray, 2 min at 20 °C"),
    TruePaper("Cordgrass VC", "variable-contrast paper", 6.0, 0.25, 0.83, "tray, 90 s at 20 °C"),
    TruePaper("Sea Lavender VC", "variable-contrast paper", 8.0, -0.60, 0.86, "tray, 90 s at 20 °C"),
    TruePaper("Tideline Ortho", "ortho film", 25.0, -0.20, 0.74, "tank, 8 min at 20 °C, dilute"),
)


@dataclass(frozen=True)
class Drawn:
    """One exposure as its member would send it; `body` still lacks the paper's id."""

    member: str
    paper: TruePaper
    body: dict[str, Any]


@dataclass(frozen=True)
class TrueOffsets:
    """In stops: each camera's light over what its f-number promises, each member's results over what others get."""

    cameras: dict[str, float]
    members: dict[str, float]


def draw_offsets(*, cameras: Iterable[str], members: Iterable[str], seed: int = SEED) -> TrueOffsets:
    """The truth about cameras (by code) and members; it does not hang on how the cameras are specified."""
    rng = np.random.default_rng((seed, 1))
    return TrueOffsets(
        {code: float(rng.normal() * HOLE_STOPS) for code in cameras},
        {member: float(rng.normal() * EYE_STOPS) for member in members},
    )


@dataclass(frozen=True)
class Season:
    """Exposures in the order in which they were taken; `mistyped` is the id of the one with minutes for seconds."""

    exposures: list[Drawn]
    offsets: TrueOffsets
    mistyped: str


def draw_season(*, f_numbers: Mapping[str, float], members: Sequence[str], seed: int = SEED) -> Season:
    """A season's `EXPOSURES`, made with cameras of given f-numbers, by code."""
    rng, offsets = np.random.default_rng(seed), draw_offsets(cameras=f_numbers, members=members, seed=seed)
    codes, exposures = list(f_numbers), []
    for number, (start, sky) in enumerate(_outings(rng)):
        paper = PAPERS[number % len(PAPERS)]
        while True:
            code, member = codes[int(rng.integers(len(codes)))], members[int(rng.integers(len(members)))]
            offset = offsets.cameras[code] + offsets.members[member]
            way = members.index(member)
            body = _expose(rng, start, sky, f_numbers[code], paper, way=way, offset_stops=offset)
            if body is not None:
                break
        exposures.append(Drawn(member, paper, body | {"camera": code}))
    return Season(exposures, offsets, _mistype(exposures))


def _mistype(exposures: Sequence[Drawn]) -> str:
    """Type the seconds of one exposure as minutes; returns its id."""
    seconds = {f"{time_s} s": f"{time_s} min" for time_s in MISTYPED_S}
    one = next(
        each.body
        for each in exposures
        if "judged_stops" in (each.body["result"] or {}) and each.body["exposure_time"] in seconds
    )
    one["exposure_time"] = seconds[one["exposure_time"]]
    return str(one["id"])


def _outings(rng: np.random.Generator) -> Iterator[tuple[datetime, str]]:
    """When each exposure is made, and under which sky: shared out over the walks, the hours rising through a day."""
    skies = rng.choice(list(SKIES), WALKS)
    on_walk = np.sort(np.arange(EXPOSURES) % WALKS)
    minutes = rng.integers(9 * 60, 18 * 60, EXPOSURES)
    for walk in range(WALKS):
        day = FIRST_WALK + timedelta(days=DAYS_BETWEEN * walk)
        for minute in np.sort(minutes[on_walk == walk]).tolist():
            yield datetime.combine(day, time(minute // 60, minute % 60), UTC), str(skies[walk])


def _expose(
    rng: np.random.Generator,
    start: datetime,
    sky: str,
    f_number: float,
    paper: TruePaper,
    *,
    way: int,
    offset_stops: float,
) -> dict[str, Any] | None:
    """One exposure's body but for its camera, or None where it would take longer than anyone waits."""
    shade = rng.integers(IN_SHADE) == 0
    hour = start.hour + start.minute / 60
    ev = SKIES[sky] - 0.06 * (hour - 13) ** 2 - 2 * shade + rng.normal() * CLOUDS_STOPS
    reading, ev_read = _metered(ev, way)
    filter_stops = 1.0 if paper.family == "variable-contrast paper" and rng.integers(4) == 0 else 0.0
    indicated_s = Light(ev_read).time_s(f_number=f_number, exposure_index=paper.nominal_exposure_index)
    indicated_s *= 2**filter_stops
    right_s = paper.right_time_s(float(np.log2(indicated_s)))
    trusts = rng.integers(TRUSTS_THE_METER) == 0
    typed_time, given_s = _as_people_say(indicated_s if trusts else right_s * 2 ** (rng.normal() * AIM_STOPS))
    if given_s > LONGEST_S:
        return None
    error = offset_stops + rng.normal() * SCATTER_STOPS
    over_stops = paper.effect_stops(given_s) - np.log2(indicated_s) + error
    note = f"{PLACES[rng.integers(len(PLACES))]}, {WEATHER[sky]}{', in the shade' if shade else ''}"
    return {
        "id": str(uuid.UUID(bytes=rng.bytes(16), version=4)),
        "taken_at": start.isoformat(),
        "reading": reading,
        "filter_stops": filter_stops,
        "exposure_time": typed_time,
        "result": _told(rng, over_stops, paper, right_effect=float(np.log2(indicated_s) - error)),
        "process": paper.process,
        "note": note[:1].upper() + note[1:],
        "shared": bool(rng.integers(UNSHARED)),
    }


def _metered(ev: float, way: int) -> tuple[dict[str, Any], float]:
    """A meter's reading as it is written down, and its EV at ISO 100. Each member keeps to a way of their own."""
    match way % 4:
        case 0:
            ev = round(3 * ev) / 3
            return {"ev": round(ev, 1), "iso": 100}, light.ev100_from_ev(ev=round(ev, 1))
        case 1:
            lux = float(f"{Light(ev).illuminance_lx:.2g}")
            return {"illuminance": f"{lux:.0f} lx"}, light.ev100_from_illuminance(illuminance_lx=lux)
        case 2:
            text, seconds = _as_people_say(Light(ev).time_s(f_number=16))
            return {"time": text, "f_number": 16, "iso": 100}, light.ev100_from_time(time_s=seconds, f_number=16)
        case _:
            luminance = float(f"{Light(ev).luminance_cd_m2:.2g}")
            typed = {"luminance": f"{luminance:.0f} cd/m^2"}
            return typed, light.ev100_from_luminance(luminance_cd_m2=luminance)


def _as_people_say(time_s: float) -> tuple[str, float]:
    """A time as said, and what that means in seconds."""
    text = say_time(time_s)
    return text, read_quantity(text, "time").value


def _told(
    rng: np.random.Generator, over_stops: float, paper: TruePaper, *, right_effect: float
) -> dict[str, Any] | None:
    """How the result is told. A density is measured only near its target, where the paper's curve is straight."""
    way = rng.choice(list(TOLD), p=list(TOLD.values()))
    if way == "nothing":
        return None
    if way == "right_time":
        return {"right_time": _as_people_say(paper.right_time_s(right_effect))[0]}
    if way == "density" and abs(over_stops) < 1:
        density = TARGET_DENSITY + over_stops * GRADIENT * np.log10(2)
        return {"density": round(float(density), 2), "target": TARGET_DENSITY, "gradient": GRADIENT}
    return {"judged_stops": float(np.clip(round(4 * over_stops) / 4, -8, 8))}

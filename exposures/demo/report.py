"""The job of `job.py` written out for a person: what to cut, what to measure, what to give, and where to take care."""

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from clubs.models import Club
from exposures.demo import job as asked
from exposures.demo.drawings import Drawings, draw_section
from exposures.demo.job import Job
from exposures.demo.layout import care, day, listed, table, wrapped
from exposures.demo.log_report import doubts, next_tests, offsets, papers
from exposures.models import ExposureLog
from optics.core.advice import BLADE_CAUTION
from optics.core.film_planes import FilmPlane
from optics.core.holes import NEEDLE_WARNING
from optics.core.say import say_f_number, say_stops, say_time
from optics.core.sheet_cuts import CAUTION as SHEET_CAUTION

USED = f"{asked.USED_SHARE:.0%}"

INVENTED = (
    "Everything here is invented: the club, its members, their cameras and exposures, the papers and the box below. "
    "No paper of these names can be bought, and no figure for one holds for any that can. The formulas are real."
)
WORDS = (
    "A stop is a factor of two: +1 stop is twice the light, or twice its effect on the paper; −1 stop is half. The "
    "f-number is the focal length divided by the hole's diameter. Lines that begin with ! say where to take care."
)
SAW_CAUTION = "Saw, knife and awl: clamp the work, and cut away from the hand."
SUN_CAUTION = (
    "Never look at the sun, least of all through a hole, a viewfinder or a loupe. Only filters to ISO 12312-2 are "
    "safe to look through."
)
CHEMICALS_CAUTION = (
    "Developer harms skin and eyes, and acid stop the airways: air the room, wear nitrile gloves, goggles and an "
    "apron, and keep food out. Acid into water, never water into acid. Keep mains electricity away from wet hands. "
    "Collect used fixer, it carries silver, and ask your local waste authority. Follow your local codes and the "
    "maker's safety data sheet."
)


def written(job: Job, club: Club, drawings: Drawings) -> str:
    """The whole report, at most 88 columns wide but for the paths in it."""
    sections = (
        ("The club", _club(club)),
        ("1. How the film lies in the box", _film(job, drawings)),
        ("2. Cut the sheet", _cuts(job, drawings)),
        ("3. The hole to make", _hole(job)),
        ("4. The hole that was made", _tries(job)),
        ("5. How dark the corners come out", _corners(job)),
        ("6. Open up the wall", _opening(job)),
        ("7. From the light to the time", _exposure(job)),
        ("8. Or find the time with a test strip", _test_strip(job)),
        ("What the club's log says of its papers", papers(job)),
        ("What it says of cameras and members", offsets(job)),
        ("Which of its entries look wrong", doubts(job)),
        ("What to test next", next_tests(job)),
    )
    title = "A BOX BECOMES A CAMERA: A DEMONSTRATION"
    lines = [title, "", *wrapped(INVENTED), "", *wrapped(WORDS)]
    for heading, body in sections:
        lines += ["", "", heading, "=" * len(heading), *body]
    return "\n".join(lines) + "\n"


def _club(club: Club) -> Iterator[str]:
    kinds = Counter(camera.spec.film_plane["kind"].replace("_", " ") for camera in club.cameras.all() if camera.spec)
    cameras = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    logs = ExposureLog.objects.filter(club=club)
    first, last = (day(log.taken_at) for log in (logs.earliest("taken_at"), logs.latest("taken_at")))
    yield from wrapped(
        f"{club.name}: {club.memberships.count()} members, {kinds.total()} cameras ({cameras}), "
        f"{club.papers.count()} papers, and {logs.count()} exposures made from {first} to {last}."
    )


def _film(job: Job, drawings: Drawings) -> Iterator[str]:
    strip, flat = job.strip.answer, job.flat.answer
    yield from wrapped(
        f"The container is a slide box, inside {asked.BOX['width']} wide, {asked.BOX['depth']} deep and "
        f"{asked.BOX_HEIGHT} high. A strip of paper {_mm(strip.length_mm)} long is longer than the box is wide: bent, "
        f"with its ends in the corners beside the hole, it springs into an arc, its middle "
        f"{_mm(strip.axis_distance_mm)} from the hole and {_mm(flat.axis_distance_mm - strip.axis_distance_mm)} short "
        "of the back wall. Or a sheet as wide as the box lies flat on the back wall."
    )
    lights = job.strip_light.answer, job.flat_light.answer

    def row(name: str, say: Callable, sides: tuple = (strip, flat)) -> tuple[str, ...]:
        return name, *map(say, sides)

    yield ""
    yield from table(
        ("", "strip sprung in", "flat on the back"),
        row("negative, laid flat", lambda p: f"{p.length_mm:.1f} × {p.height_mm:.1f} mm"),
        row("nearest film", lambda p: _mm(p.shortest_mm)),
        row("farthest corner", lambda p: _mm(p.longest_mm)),
        row("half of both: the trade's focal length", lambda p: _mm(p.mean_mm)),
        row("sees from side to side", lambda p: f"{_view_deg(p, 1):.0f}°"),
        row(f"the middle {USED} of it sees", lambda p: f"{_view_deg(p, asked.USED_SHARE):.0f}°"),
        row("its corners, against the middle", lambda light: say_stops(light.darkest_stops), lights),
        row("of all, within 1 stop of the middle", lambda light: f"{light.within_one_stop_share:.0%}", lights),
    )
    yield ""
    yield from draw_section(strip, flat)
    yield ""
    yield "The strip is taken here, for its wider view."
    yield f"The strip to scale: {_place(drawings.section)}"


def _cuts(job: Job, drawings: Drawings) -> Iterator[str]:
    cuts = job.cuts.answer
    yield from wrapped(
        f"Lay a sheet of {asked.SHEET} so that it is {cuts['sheet_width_mm']:.0f} mm wide and "
        f"{cuts['sheet_height_mm']:.0f} mm high. It gives {cuts['count']} strips of {asked.STRIP_LENGTH} × "
        f"{asked.STRIP_HEIGHT}; {cuts['waste_share']:.1%} is left over."
        + (" No other way of cutting gives more." if cuts["optimal"] else "")
    )
    for cut in cuts["cuts"]:
        yield from wrapped(cut.text, indent="  ")
    yield f"The plan to scale: {_place(drawings.cuts)}"
    yield from care(SHEET_CAUTION)


def _hole(job: Job) -> Iterator[str]:
    choice = job.hole.answer
    chosen = choice["chosen"].rule.name
    yield from wrapped(
        f"For a focal length of {_mm(job.strip.answer.mean_mm)} and blue-sensitive paper. Each rule asks something "
        "else of the picture, so they differ:"
    )
    yield ""
    names = [each.rule.name.replace("_", " ").capitalize() for each in choice["rules"]]
    yield from table(
        ("rule", "diameter", "f-number", ""),
        *(
            (name, _hole_mm(each.diameter_mm), say_f_number(each.f_number), "taken" * (each.rule.name == chosen))
            for name, each in zip(names, choice["rules"], strict=True)
        ),
    )
    yield ""
    yield from wrapped(
        f"The nearest number drill is No. {choice['drill']}, {_hole_mm(choice['drill_mm'])}. {NEEDLE_WARNING.text}"
    )
    yield from care(BLADE_CAUTION.text)


def _tries(job: Job) -> Iterator[str]:
    ranking, number = job.tries.answer["ranking"], job.tries.answer["f_number"]
    yield from wrapped(
        f"Make several and keep the best. Three tries in {asked.PLATE_THICKNESS} brass shim, each counted both ways: "
        f"how many hole-widths go between two marks {asked.SPAN} apart? Best first:"
    )
    yield ""
    yield from table(
        ("try", "counted", "diameter", "roundness", "light, against the wish"),
        *(
            (
                each.label,
                " and ".join(f"{count:g}" for count in asked.TRIES[each.label]),
                f"{each.measurement.diameter_mm:.3f} ± {_hole_mm(each.measurement.uncertainty_mm)}",
                f"{each.measurement.roundness_share:.0%}",
                f"{each.off_target_stops:+.2f} stop".replace("-", "−"),
            )
            for each in ranking
        ),
    )
    for each in ranking:
        for flag in each.measurement.flags:
            yield from wrapped(f"{each.label}: {flag.text}", indent="  ")
    yield ""
    yield from wrapped(
        f"With {ranking[0].label} the camera is {say_f_number(number.f_number)}, give or take "
        f"{number.f_number_uncertainty:.0f}, which is ± {number.uncertainty_stops:.2f} stop of exposure. Against a "
        f"meter's f/22 that is {say_stops(number.stops_from_f22)}: multiply its time by "
        f"{2**-number.stops_from_f22:.0f}, and then look to the paper, as in section 7."
    )


def _corners(job: Job) -> Iterator[str]:
    light = job.strip_light.answer
    balanced = light.balanced
    yield from wrapped(
        f"Take the middle {USED} of the strip's length and height. Its darkest corner gets "
        f"{say_stops(light.darkest_stops)} against the point opposite the hole. By the trade's rule the camera is "
        f"{say_f_number(light.trade_f_number)}; exposed for that, the brightest point is off by "
        f"{say_stops(light.trade_brightest_stops)} and the darkest by {say_stops(light.trade_darkest_stops)}. "
        f"Balanced, it is {say_f_number(balanced.f_number)}: the brightest point is then as much over as the darkest "
        f"is under, {balanced.error_stops:.1f} stops each."
    )
    yield ""
    yield from table(
        ("part that counts", "balanced at", "ends up off by", "of all, within 1 stop"),
        *(
            (
                f"the middle {part.used_share:.0%}",
                say_f_number(part.f_number),
                f"± {part.error_stops:.1f} stops",
                f"{part.within_one_stop_share:.0%}",
            )
            for part in light.by_used_share
        ),
    )
    yield ""
    for flag in light.flags:
        yield from wrapped(flag.text)


def _opening(job: Job) -> Iterator[str]:
    opening = job.opening.answer
    yield from wrapped(
        f"The shim goes inside, over an opening in the {asked.WALL_THICKNESS} wall. Cut it at least "
        f"{opening['width_mm']:.0f} mm wide and {opening['height_mm']:.0f} mm high, which leaves {asked.MARGIN} to "
        f"spare on each side; a smaller one clips the middle {USED} of the picture, for light must pass within "
        f"{np.degrees(opening['clear_angle_rad']) / 2:.0f}° of the axis. Blacken the edges."
    )
    yield from care(SAW_CAUTION)


def _exposure(job: Job) -> Iterator[str]:
    yield from wrapped(
        f"The box is a camera now; the club's registry knows it as {job.camera.code}. Load the paper, "
        f"{job.paper.name}, under its safelight, its coated side towards the hole. A meter held at the subject reads "
        f"{asked.READING['illuminance']}. With the camera's f-number and the paper's index, which is its "
        "speed as ISO is a film's, that makes the indicated time. But paper loses speed in long exposures: t seconds, "
        "above 1 s, become t to the power of an exponent. And no hole is quite what it was measured to be. So the "
        "club's log has its say:"
    )
    yield ""
    for reason in job.time.because:
        yield from listed(reason)
    for flag in job.time.flags:
        yield from listed(flag.text)
    yield ""
    yield f"    Give {say_time(job.time.exposure_time_s)}."
    yield ""
    yield from wrapped(
        f"To favour the corners, expose for the balanced {say_f_number(job.strip_light.answer.balanced.f_number)} of "
        f"section 5: {say_time(job.balanced_time.exposure_time_s)}."
    )
    yield from care(SUN_CAUTION)


def _test_strip(job: Job) -> Iterator[str]:
    steps = job.time.test_strip
    yield from wrapped(
        f"One strip of paper, {len(steps)} exposures. Mark it off in as many bands along its length, each "
        f"{job.strip.answer.height_mm / len(steps):.0f} mm high: from top to bottom the light is even to "
        f"{_fall_off_down(job):.1f} stop, from end to end it is not. Start with all of it uncovered. After each time "
        "below close the shutter, cover the next band with black card in the dark, and put the camera back where it "
        "was. The bands then differ by even steps in what the light does to the paper."
    )
    yield ""
    yield from table(
        ("band", "expose for", "and cover it; it has had", "against section 7"),
        *((str(s.strip), say_time(s.uncover_s), say_time(s.total_s), say_stops(s.stops)) for s in steps),
    )
    yield ""
    yield "Log the band that came out right: whoever asks next gets a better answer."
    yield from care(CHEMICALS_CAUTION)


def _view_deg(plane: FilmPlane, share: float) -> float:
    """The angle that the middle `share` of the film's length sees along its middle row."""
    ends = plane.columns(np.array([-0.5, 0.5]) * share * plane.length_mm)
    return float(np.degrees(np.ptp(np.arctan2(ends.x_mm, ends.z_mm))))


def _fall_off_down(job: Job) -> float:
    """Stops between the brightest and the darkest point of the column opposite the hole."""
    light = job.strip_light.answer
    return float(np.ptp(light.stops[:, np.abs(light.x_mm).argmin()]))


def _mm(length_mm: float) -> str:
    return f"{length_mm:.1f} mm"


def _hole_mm(diameter_mm: float) -> str:
    return f"{diameter_mm:.3f} mm"


def _place(path: Path) -> str:
    """The path from the working directory, where it lies below that."""
    full = path.resolve()
    return str(full.relative_to(Path.cwd()) if full.is_relative_to(Path.cwd()) else path)

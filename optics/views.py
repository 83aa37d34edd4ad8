"""The optics endpoints: stateless, no account needed. Each names its body, its answer and one function."""

from rest_framework.request import Request
from rest_framework.response import Response

from optics import (
    answers,
    answers_scan,
    answers_sharpness,
    answers_sun,
    outputs,
    outputs_sharpness,
    outputs_sun,
    questions,
)
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.uploads import UploadParser
from pinpool.http.views import Computation


class Optics(Computation):
    """A computation whose impossible cases become a 422 with a pointer."""

    def post(self, request: Request) -> Response:
        try:
            return super().post(request)
        except Impossible as fault:
            refuse(fault)


class FilmPlaneView(Optics):
    """How the film lies: distances, the negative laid flat, the field of view."""

    takes, gives, compute = questions.FilmPlaneIn, outputs.DrawnFilmPlaneOut, answers.film_plane


class HoleDiameterView(Optics):
    """The hole each rule asks for, with its source, and the nearest number drill."""

    takes, gives, compute = questions.HoleDiameterIn, outputs.HoleChoiceOut, answers.hole_diameter


class FNumberView(Optics):
    """The f-number of a focal length and a hole, and how well it is known."""

    takes, gives, compute = questions.FNumberIn, outputs.FNumberOut, answers.f_number_of


class HoleMeasurementView(Optics):
    """The hole that was really made, from counts, pixels or diameters; or several tries, ranked."""

    takes, gives, compute = questions.HoleMeasurementIn, outputs.MeasuredOut, answers.hole_measurement


class IlluminationView(Optics):
    """How dark the corners come out, and the focal length that serves the whole negative best."""

    takes, gives, compute = questions.IlluminationIn, outputs.IlluminationOut, answers.illumination


class LightView(Optics):
    """A light reading on every scale."""

    takes, gives, compute = questions.LightIn, outputs.LightOut, answers.light


class ExposureView(Optics):
    """From a reading to the time to give, and a test strip around it."""

    takes, gives, compute = questions.ExposureIn, outputs.ExposureOut, answers.exposure


class ExposureTableView(Optics):
    """Times for a whole range of light, for the back of a camera."""

    takes, gives, compute = questions.ExposureTableIn, outputs.ExposureTableOut, answers.exposure_table


class SheetCutsView(Optics):
    """How to cut most pieces from a sheet. Keep fingers clear of the blade and its guard in place."""

    takes, gives, compute = questions.SheetCutsIn, outputs.SheetCutsOut, answers.sheet_cuts


class WallOpeningView(Optics):
    """How wide to cut the wall so that no corner is clipped. Cut away from the hand; follow your local codes."""

    takes, gives, compute = questions.WallOpeningIn, outputs.WallOpeningOut, answers.opening


class CameraPlanView(Optics):
    """Everything about one container, with advice."""

    takes, gives, compute = questions.CameraPlanIn, outputs.CameraPlanOut, answers.camera_plan


class ExposureProgressView(Optics):
    """A long exposure under changing light: the share given, and how long is still to go."""

    takes, gives, compute = questions.ExposureProgressIn, outputs_sun.ProgressOut, answers.exposure_progress


class SunView(Optics):
    """The sun's altitude and azimuth, rise and set, its track on the film, and what light to expect.

    Never look at the sun directly or through any hole, viewfinder or loupe: only through ISO 12312-2 filters.
    """

    takes, gives, compute = questions.SunIn, outputs_sun.SunOut, answers_sun.sun


class SharpnessView(Optics):
    """How sharp a hole draws: the image of a point, the contrast of detail, the detail on a whole negative."""

    takes, gives, compute = questions.SharpnessIn, outputs_sharpness.SharpnessOut, answers_sharpness.sharpness


class HoleComparisonView(Optics):
    """Holes and formats against each other: is it worth making the hole better, or the negative bigger?"""

    takes, gives = questions.HoleComparisonIn, outputs_sharpness.HoleComparisonOut
    compute = answers_sharpness.hole_comparison


class HoleScanView(Optics):
    """The hole measured from a picture of it, sent as a form with a file; the picture is not kept."""

    parser_classes = [UploadParser]
    takes, gives, compute = questions.HoleScanIn, outputs.HoleScanOut, answers_scan.hole_scan

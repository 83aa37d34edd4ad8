"""The endpoints for photos of cameras."""

import uuid

from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import photos, selectors
from clubs.models import Camera, CameraPhoto
from clubs.views import CHANGE, READ, WRITE, ClubView
from pinpool.http.etags import Expected
from pinpool.http.fields import Moment, StrictSerializer, Text
from pinpool.http.images import JPEGRenderer, PictureView, picture
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation
from pinpool.http.uploads import UploadParser


class PhotoIn(StrictSerializer):
    """A form with a file."""

    image = serializers.FileField(
        help_text="JPEG, PNG, TIFF or WebP; encoded anew, so that no notes and no place stay in it.", use_url=False
    )
    caption = Text(max_length=200, required=False, default="", allow_blank=True)


class CaptionIn(StrictSerializer):
    caption = Text(max_length=200, allow_blank=True)


class PhotoOut(serializers.Serializer):
    id = serializers.UUIDField()
    image = serializers.SerializerMethodField(help_text="The address of the picture itself, a JPEG.")
    width_pixels = serializers.IntegerField()
    height_pixels = serializers.IntegerField()
    caption = serializers.CharField()
    added_by = serializers.CharField(source="added_by.get_username", default=None, allow_null=True)
    added_at = Moment()
    revision = serializers.IntegerField()

    def get_image(self, photo: CameraPhoto) -> str:
        request = self.context["request"]
        here = request.resolver_match
        address = {name: here.kwargs[name] for name in ("club", "code")} | {"id": photo.id}
        return request.build_absolute_uri(reverse(f"{here.namespace}:photo_image", kwargs=address))


class CameraPart(ClubView):
    """A view of something kept with a camera."""

    @property
    def camera(self) -> Camera:
        return selectors.camera_in(club=self.member.club, code=self.kwargs["code"])


class PhotosView(CameraPart):
    """Photos of a camera, the oldest first."""

    parser_classes = [UploadParser]
    query = PAGE_QUERY
    actions = {"GET": "read_cameras", "POST": "add_photo"}
    operations = {
        "GET": Operation(gives=PhotoOut, page=True, refusals=READ),
        "POST": Operation(takes=PhotoIn, gives=PhotoOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str, code: str) -> Response:
        return self.page(photos.photos_of(camera=self.camera), PhotoOut, key="added_at")

    def post(self, request: Request, club: str, code: str) -> Response:
        camera = self.camera
        photo = photos.add_photo(actor=self.member, camera=camera, **self.read(request, PhotoIn))
        return self.one(photo, PhotoOut, 201)


class PhotoView(CameraPart):
    """One photo. Whoever added it, the camera's owner or a keeper words its caption or removes it for good."""

    query = {}
    actions = {"GET": "read_cameras", "PATCH": "caption_photo", "DELETE": "remove_photo"}
    operations = {
        "GET": Operation(gives=PhotoOut, refusals=READ),
        "PATCH": Operation(takes=CaptionIn, gives=PhotoOut, refusals=CHANGE),
        "DELETE": Operation(gives=PhotoOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, code: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(photos.photo_of(camera=self.camera, id=id), PhotoOut)

    def patch(self, request: Request, club: str, code: str, id: uuid.UUID) -> Response:  # noqa: A002
        photo = photos.photo_of(camera=self.camera, id=id)
        caption = self.read(request, CaptionIn)["caption"]
        changed = photos.caption_photo(actor=self.member, photo=photo, expected=Expected.by(request), caption=caption)
        return self.one(changed, PhotoOut)

    def delete(self, request: Request, club: str, code: str, id: uuid.UUID) -> Response:  # noqa: A002
        photo = photos.photo_of(camera=self.camera, id=id)
        return self.one(photos.remove_photo(actor=self.member, photo=photo, expected=Expected.by(request)), PhotoOut)


class PhotoImageView(PictureView, CameraPart):
    """The photo itself, for those who may see the camera."""

    actions = {"GET": "read_cameras"}
    operations = {"GET": Operation(gives=OpenApiTypes.BINARY, media=JPEGRenderer.media_type, refusals=READ)}

    def get(self, request: Request, club: str, code: str, id: uuid.UUID) -> Response:  # noqa: A002
        camera = self.camera
        photo = photos.photo_of(camera=camera, id=id)
        return picture(request, photo.image, name=f"{camera.code}-{photo.id.hex[:8]}.jpg")

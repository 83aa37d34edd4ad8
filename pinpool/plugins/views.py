"""`/api/v1/plugins/`: each plug-in, its state and why."""

from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from pinpool.http.schema import Operation
from pinpool.http.views import View

from . import registry
from .model import PLUGIN_API_VERSION


class PluginOut(serializers.Serializer):
    name = serializers.CharField()
    version = serializers.CharField()
    package = serializers.CharField()
    state = serializers.ChoiceField(["active", "incompatible", "invalid", "failed"])
    reason = serializers.CharField()
    contributes = serializers.DictField(child=serializers.ListField(child=serializers.CharField()))
    failures = serializers.IntegerField(help_text="Calls that failed since this process of the service was started.")
    last_failure = serializers.CharField(allow_blank=True, help_text="What the last of them did.")


class PluginsOut(serializers.Serializer):
    api_version = serializers.CharField(help_text="The version of the plug-in API that the service offers.")
    results = PluginOut(many=True)


class PluginsView(View):
    """Each plug-in, its state and why."""

    permission_classes = [AllowAny]
    query = {}
    operations = {"GET": Operation(gives=PluginsOut, refusals=(400,))}

    def get(self, request: Request) -> Response:
        return self.answer(
            {"api_version": ".".join(map(str, PLUGIN_API_VERSION)), "results": registry.listed()}, PluginsOut
        )

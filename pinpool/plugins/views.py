"""`/api/v1/plugins/`: each plug-in, its state and why."""

from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from pinpool.http.schema import Operation
from pinpool.http.views import View

from . import registry
from .health import record_of
from .model import PLUGIN_API_VERSION, POINTS


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
        rows = [
            {
                "name": entry.name,
                "version": entry.version,
                "package": entry.package,
                "state": entry.state,
                "reason": entry.reason,
                "contributes": {
                    point: [c.name for c in getattr(entry.plugin, point)]
                    for point in POINTS
                    if entry.plugin and getattr(entry.plugin, point)
                },
                "failures": record_of(entry).failures,
                "last_failure": record_of(entry).last_failure,
            }
            for entry in registry.entries()
        ]
        return self.answer({"api_version": ".".join(map(str, PLUGIN_API_VERSION)), "results": rows}, PluginsOut)

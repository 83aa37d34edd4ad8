"""`/api/v1/plugins/`: each plug-in, its state and why."""

from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from pinpool.http.schema import Operation
from pinpool.http.views import View

from .model import POINTS
from .registry import entries


class PluginOut(serializers.Serializer):
    name = serializers.CharField()
    version = serializers.CharField()
    package = serializers.CharField()
    state = serializers.ChoiceField(["active", "incompatible", "invalid", "failed"])
    reason = serializers.CharField()
    contributes = serializers.DictField(child=serializers.ListField(child=serializers.CharField()))


class PluginsOut(serializers.Serializer):
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
            }
            for entry in entries()
        ]
        return self.answer({"results": rows}, PluginsOut)

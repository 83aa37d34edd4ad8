"""What every API view of ours shares. Nothing here, and nothing of ours, reads the site's global DRF settings."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, ClassVar

from django.contrib.auth.models import AnonymousUser
from django.http import HttpResponse
from django.utils import translation
from drf_spectacular.utils import OpenApiParameter
from rest_framework.authentication import SessionAuthentication
from rest_framework.metadata import SimpleMetadata
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import SAFE_METHODS, AllowAny, IsAuthenticated
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from pinpool.conf import LANGUAGE
from pinpool.scopes import Scope, check_scope
from pinpool.tokens import TokenAuthentication

from .etags import tagged, unchanged, with_tag
from .filters import FIELDS, LENGTHS, only_fields, refuse_unknown_query
from .json_text import as_json
from .kept_fields import bound
from .listings import Listing
from .pages import page_of_rows
from .parsers import StrictJSONParser
from .problems import handle_exception
from .schema import Operation, Schema, page_of


class JSONRenderer(BaseRenderer):
    """JSON, as `as_json` writes it."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return b"" if data is None else as_json(data)


class Negotiation(DefaultContentNegotiation):
    """By the Accept header alone: `?format=` is a query name like any other, and we know none of that name."""

    settings: Any = SimpleNamespace(URL_FORMAT_OVERRIDE=None)

    def select_parser(self, request: Request, parsers: Any) -> Any:
        first = parsers[0]
        return first if request.content_type == first.media_type else super().select_parser(request, parsers)

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        first = renderers[0]
        if request.headers.get("Accept", "*/*") in {"*/*", first.media_type}:  # so most ask; nothing to weigh
            return first, first.media_type
        return super().select_renderer(request, renderers, format_suffix)


class View(APIView):
    """Parsing, rendering, errors, schema and query names, the same for every view of ours."""

    parser_classes = [StrictJSONParser]
    renderer_classes = [JSONRenderer]
    permission_classes = [IsAuthenticated]
    throttle_classes = []
    schema = Schema()
    versioning_class = None
    content_negotiation_class = Negotiation
    metadata_class = SimpleMetadata
    authentication_classes = [TokenAuthentication, SessionAuthentication]
    #: Query parameters that this view reads, with what each means; any other name is refused.
    query: ClassVar[dict[str, OpenApiParameter]] = {"lengths": LENGTHS}
    operations: Any = {}
    #: The part of its address that opens something, such as a claim code, and that logs leave out.
    untold_in_logs = ""

    def get_exception_handler(self) -> Callable[[Exception, dict[str, Any]], HttpResponse | None]:
        return handle_exception

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        with translation.override(LANGUAGE):
            response = super().dispatch(request, *args, **kwargs)
        del self.response
        if isinstance(response, Response):
            response.add_post_render_callback(_let_go)
        return response

    def perform_authentication(self, request: Request) -> None:
        if request.user is None:  # where the site's UNAUTHENTICATED_USER is
            request.user = AnonymousUser()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        refuse_unknown_query(request, self.query_of(str(request.method)))

    def query_of(self, method: str) -> dict[str, OpenApiParameter]:
        """What a method reads from the query: where a view lists rows, its pages and filters are the list's alone.

        Every GET also takes `?fields=`.
        """
        method = "GET" if method == "HEAD" else method
        fields = {"fields": FIELDS} if method == "GET" else {}
        lists = {name for name, operation in self.operations.items() if operation.page}
        if not lists or method in lists:
            return {**self.query, **fields}
        return {name: each for name, each in self.query.items() if name == "lengths"}

    def read(self, request: Request, serializer: type[BaseSerializer], **more: Any) -> Any:
        """The validated body; raises with every fault at once. `more` goes into the serializer's context."""
        with bound(serializer, data=request.data, context=self.context() | more) as body:
            body.is_valid(raise_exception=True)
            return body.validated_data

    def context(self) -> dict[str, Any]:
        """What serializers of bodies are told beside the body."""
        return {"request": self.request}

    def answer(self, result: Any, serializer: type[BaseSerializer], status: int = 200) -> Response:
        """`result` shown by `serializer`, lengths in the unit the caller asked for."""
        context = {"request": self.request, "lengths": self.request.query_params.get("lengths", "mm")}
        with bound(serializer, instance=result, context=context) as shown:
            return Response(only_fields(self.request, shown.data), status=status)


def _let_go(response: Any) -> None:
    """Take the answer out of the circles that DRF puts it in, or a long one stays until Python looks for such."""
    response.renderer_context = {}


class AccountView(View):
    """A view that needs an account: the rule for all but computations. A token must be of the scope it takes."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        check_scope(request, self.scope_of(str(request.method)))

    def scope_of(self, method: str) -> str:
        """The least scope of a token for a method."""
        return Scope.READ if method in SAFE_METHODS else Scope.MANAGE

    def one(self, row: Any, serializer: type[BaseSerializer], status: int = 200) -> Response:
        """A stored object with its ETag."""
        return tagged(self.request, self.answer(row, serializer, status), row.revision)

    def page(self, rows: Any, serializer: type[BaseSerializer], *, key: str, newest_first: bool = False) -> Response:
        """A cursor page of rows."""
        found = page_of_rows(self.request, rows, key=key, newest_first=newest_first)
        return self.answer(found, page_of(serializer))

    def listed(self, listing: Listing, serializer: type[BaseSerializer], **values: Any) -> Response:
        """A cursor page of a listing with its ETag."""
        if "If-None-Match" in self.request.headers:
            known = unchanged(self.request, listing.tag(self.request, **values))
            if known is not None:
                return known
        found, tag = listing.page(self.request, **values)
        return with_tag(self.answer(found, page_of(serializer)), tag)


class Computation(View):
    """A stateless question: validate the body, call one function with it, show what it returns.

    No account is needed; who asks is still known, so that an answer may rest on what they may see.
    """

    permission_classes = [AllowAny]
    takes: type[BaseSerializer]
    gives: type[BaseSerializer]
    compute: Callable[..., Any]

    @property
    def operations(self) -> dict[str, Operation]:
        return {"POST": Operation(takes=self.takes, gives=self.gives, refusals=(400, 422))}

    def post(self, request: Request) -> Response:
        return self.answer(type(self).compute(**self.read(request, self.takes)), self.gives)

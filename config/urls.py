"""The root of all addresses: a room's `pages.py` and `api.py` list their own `urlpatterns`."""

from importlib import import_module

from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from config.rooms import room_modules

# One list: a level for each room takes twice as long. Upper rooms come first: they are asked most.
api: list[URLPattern | URLResolver] = [
    route
    for room in reversed(room_modules("api"))
    for route in import_module(f"{room}.api").urlpatterns
]
api += [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="api-schema"), name="api-docs"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include(api)),
    path("language/", include("django.conf.urls.i18n")),
    *(path("", include(f"{room}.pages")) for room in room_modules("pages")),
]

handler400 = "config.api_errors.bad_request"
handler403 = "config.api_errors.permission_denied"
handler404 = "config.api_errors.not_found"
handler500 = "config.api_errors.server_error"

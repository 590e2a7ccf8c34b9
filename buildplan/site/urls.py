"""Every address of the site."""

from django.urls import URLPattern, URLResolver, include, path, re_path

from buildplan import admin, api, urls
from buildplan.site import reference_views as reference
from inventory import urls as inventory

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/", reference.api_page, name="api"),
    path("api/parts/<slug:part>/", reference.api_part, name="api-part"),
    re_path(r"^api/v1/openapi\.(?P<form>yaml|json)$", reference.openapi, name="openapi"),
    path("api/v1/", include(api.urlpatterns)),
    path("repair/", admin.site.urls),
    path("", include(inventory.urlpatterns)),
    path("", include(urls.urlpatterns)),
]

handler404 = "inventory.common.strays.not_found"
handler500 = "inventory.common.strays.failed"

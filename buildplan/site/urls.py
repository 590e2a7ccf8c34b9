"""Every address of the site."""

from django.urls import URLPattern, URLResolver, include, path

from buildplan import api, urls
from inventory import urls as inventory

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include(api.urlpatterns)),
    path("", include(inventory.urlpatterns)),
    path("", include(urls.urlpatterns)),
]

"""The site's addresses and one that shows nothing but who asks: what pages are measured beside."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import path

from club.urls import urlpatterns as of_the_site


def bare(request: HttpRequest) -> HttpResponse:
    """Behind the same middleware, session and sign-in as every page; no row but the person's own is read."""
    return HttpResponse(f"{request.user}")


urlpatterns = [path("bare/", bare), *of_the_site]

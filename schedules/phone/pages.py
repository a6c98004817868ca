"""The phone page: one shell; everything in it is drawn by its own small program."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.csrf import ensure_csrf_cookie


@ensure_csrf_cookie
def shell(request: HttpRequest) -> HttpResponse:
    return render(request, "phone/shell.html")


urlpatterns = [path("phone/", shell, name="phone")]

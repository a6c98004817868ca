"""The doors of the desk: sign-in, language, where to begin, and how fresh a page is."""

from typing import Any, cast

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import LoginView
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseRedirect,
)
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from equipment.site.models import User
from equipment.site.queries import sites_of


class SignIn(LoginView):
    """Sign in; the page then speaks the person's language."""

    template_name = "desk/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Name no site: the view's own `site` is the web address, not a farm."""
        return {**super().get_context_data(**kwargs), "site": None}

    def form_valid(self, form: Any) -> HttpResponse:
        """Carry the language over from the account."""
        response = super().form_valid(form)
        _set_language_cookie(response, cast(User, self.request.user).language)
        return response


def _set_language_cookie(response: HttpResponse, language: str) -> None:
    response.set_cookie(
        settings.LANGUAGE_COOKIE_NAME,
        language,
        max_age=365 * 24 * 3600,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )


@require_POST
def set_language(request: HttpRequest) -> HttpResponse:
    """Change the language here and, for an account, for good; the page stays."""
    language = request.POST.get("language", "")
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    response = HttpResponseRedirect(back)
    if language in dict(settings.LANGUAGES):
        _set_language_cookie(response, language)
        if isinstance(request.user, User):
            User.objects.filter(pk=request.user.pk).update(language=language)
    return response


@login_required
def begin(request: HttpRequest) -> HttpResponse:
    """Go to Today of the person's site, or let them choose among several."""
    sites = list(sites_of(cast(User, request.user)))
    if len(sites) == 1:
        return redirect("today", slug=sites[0].slug)
    return render(request, "desk/choose_site.html", {"sites": sites})

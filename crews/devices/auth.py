"""A paired phone as a principal of the API."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from django.http import HttpRequest
from django.utils.translation import gettext as _
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from equipment.site.callers import Caller
from equipment.site.models import Role, Site

from .models import Device
from .services import device_of


@dataclass(frozen=True, slots=True)
class Phone:
    """A paired phone: acts as its worker, or for its crew, on its one site."""

    device: Device
    is_authenticated: bool = True
    is_active: bool = True

    @property
    def pk(self) -> str:
        """Tell phones from accounts wherever a principal's key is asked for."""
        return f"phone-{self.device.pk}"

    @property
    def site(self) -> Site:
        """The phone's own site."""
        return self.device.site

    def caller_on(self, slug: str) -> Caller | None:
        """Give the caller on the phone's own site, None elsewhere.

        A crew's shared phone is itself until somebody picks their name, and never a lead.
        """
        device, site = self.device, self.device.site
        if site.slug != slug:
            return None
        if device.worker is None:
            return Caller(site, Role.WORKER, device.actor, site.language, device.pk, device.crew_id)
        worker = device.worker
        return Caller(site, worker.role, worker.actor, worker.language, device.pk)


class PhoneAuthentication(BaseAuthentication):
    """`Authorization: Bearer TOKEN` (RFC 6750) of a phone that is not revoked."""

    def authenticate(self, request: Request) -> tuple[Phone, Device] | None:
        """Find the phone of the token; None lets other schemes try."""
        token = token_of(request)
        if not token:
            return None
        device = device_of(token, datetime.now(UTC))
        if device is None:
            raise AuthenticationFailed(_("This phone is not paired any more. Pair it again."))
        return Phone(device), device

    def authenticate_header(self, request: Request) -> str:
        """Ask for a token, so that a refusal is 401 and not 403."""
        return "Bearer"


def token_of(request: Request | HttpRequest) -> str:
    """Give the token that a call bears, "" for none."""
    scheme, _sep, token = request.headers.get("Authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""

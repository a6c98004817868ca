"""The page, without TLS, at which a phone takes on the farm's own authority once.

It serves that page and the certificate, nothing else, and knows no data. Who could change it on
the way could have a phone trust another authority: so the page shows the fingerprint, and says to
compare it with the one that a lead sees.
"""

import html
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from config import tls

PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Penround</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body {{ font: 1.125rem/1.5 system-ui, sans-serif; color: #111; background: #fff; margin: 0 auto;
  padding: 1rem; max-width: 40rem }}
a.main {{ display: block; padding: 1.8rem 1rem; margin: 1.5rem 0; background: #0b3d91; color: #fff;
  font-size: 1.5rem; font-weight: 700; text-align: center; border-radius: .5rem }}
code {{ font-size: 1.25rem; display: block; max-width: 13rem }}
section + section {{ border-top: 2px solid #595959; margin-top: 2rem; padding-top: 1rem }}
</style></head><body>
<section lang="es"><h1>Este teléfono y la granja</h1>
<p>Una sola vez: este teléfono debe confiar en el certificado de la granja. Sin él no guarda el
trabajo cuando no hay señal.</p>
<ol><li>Pida a su encargado la huella del certificado. Debe ser igual a esta, signo por signo:
<br><code>{fingerprint}</code><br>Si no es igual, no siga y avise.</li>
<li>Toque aquí: <a class="main" href="/farm-authority.crt">Bajar el certificado</a></li>
<li>En los ajustes del teléfono, busque «certificado» e instálelo como certificado de autoridad
(CA). En iPhone y iPad: instale el perfil bajado y después, en Información, Confianza de
certificados, actívelo.</li>
<li>Abra la página: <a class="main" href="{to}">Abrir Penround</a></li></ol></section>
<section><h1>This phone and the farm</h1>
<p>Once only: this phone has to trust the farm's certificate. Without it no work is kept where there
is no signal.</p>
<ol><li>Ask your lead for the certificate's fingerprint. It must be the same as this, sign by sign:
<br><code>{fingerprint}</code><br>If it is not, stop here and say so.</li>
<li>Tap here: <a class="main" href="/farm-authority.crt">Get the certificate</a></li>
<li>In the phone's settings look for &ldquo;certificate&rdquo; and install it as a certificate of an
authority (CA). On iPhone and iPad: install the profile, then switch it on under About, Certificate
Trust Settings.</li>
<li>Open the page: <a class="main" href="{to}">Open Penround</a></li></ol></section>
</body></html>
"""
Start = Callable[[str, list[tuple[str, str]]], Any]
SAFE = (("X-Content-Type-Options", "nosniff"), ("Cache-Control", "no-store"))
POLICY = ("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")


def serve(authority: Path, to: str) -> Callable[[dict[str, Any], Start], Iterable[bytes]]:
    """Give the WSGI application that hands out `authority` and then leads to the address `to`."""
    fingerprint = tls.Secured("", authority, authority, authority).fingerprint
    page = PAGE.format(fingerprint=html.escape(fingerprint), to=html.escape(f"{to}/phone/"))
    known = {
        "/": ("text/html; charset=utf-8", page.encode()),
        "/farm-authority.crt": ("application/x-x509-ca-cert", authority.read_bytes()),
    }

    def application(environ: dict[str, Any], start_response: Start) -> Iterable[bytes]:
        kind, body = known.get(environ.get("PATH_INFO", ""), ("", b""))
        if environ.get("REQUEST_METHOD") not in {"GET", "HEAD"} or not kind:
            start_response("302 Found", [("Location", "/"), ("Content-Length", "0")])
            return [b""]
        size = ("Content-Length", str(len(body)))
        start_response("200 OK", [("Content-Type", kind), size, *SAFE, POLICY])
        return [body if environ["REQUEST_METHOD"] == "GET" else b""]

    return application


if "DOOR_AUTHORITY" in os.environ:
    application = serve(Path(os.environ["DOOR_AUTHORITY"]), os.environ["DOOR_TO"])

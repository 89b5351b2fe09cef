"""Addresses of the site."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.templatetags.static import static
from django.urls import include, path
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django.views.generic import RedirectView

from brickledger.views import tokens, trail

# Errors outside every view: problem details under the API, pages elsewhere.
handler400 = "brickledger.problems.bad_request"
handler500 = "brickledger.problems.server_error"

urlpatterns = [
    path("admin/", admin.site.urls),
    path(
        "sign-in/",
        require_http_methods(["GET", "HEAD", "POST"])(
            LoginView.as_view(
                template_name="brickledger/sign_in.html", redirect_authenticated_user=True
            )
        ),
        name="sign-in",
    ),
    path("sign-out/", require_POST(LogoutView.as_view()), name="sign-out"),
    path("account/tokens/", tokens.tokens, name="tokens"),
    path("account/tokens/<int:pk>/revoke/", tokens.token_revoke, name="token-revoke"),
    path("trail/", trail.trail, name="trail"),
    # Browsers ask for this at the root, whatever a page links.
    path(
        "favicon.ico",
        require_safe(RedirectView.as_view(url=static("brickledger/favicon.svg"), permanent=False)),
    ),
    path("api/v1/", include("brickledger.api_urls")),
    path("", include("catalog.urls")),
    path("", include("measurements.urls")),
    path("", include("comparisons.urls")),
]

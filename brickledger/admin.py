"""Access tokens in the admin pages: look at them, let them expire, revoke them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone

from brickledger.models import ApiToken, SiteNotice

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _TokenAdmin = admin.ModelAdmin[ApiToken]
else:
    _TokenAdmin = admin.ModelAdmin


@admin.register(ApiToken)
class ApiTokenAdmin(_TokenAdmin):
    """Tokens are made by ``issue_token`` alone, because the key is shown only once."""

    list_display = ("name", "prefix", "user", "created_at", "expires_at", "revoked_at")
    readonly_fields = ("name", "prefix", "user", "created_at", "revoked_at")
    fields = (*readonly_fields, "expires_at")
    actions = ("revoke",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never: see the class."""
        return False

    @admin.action(description="Revoke the selected tokens at once", permissions=["change"])
    def revoke(self, request: HttpRequest, tokens: QuerySet[ApiToken]) -> None:
        """Stop them from opening anything; those revoked before keep their time."""
        count = tokens.filter(revoked_at=None).update(revoked_at=timezone.now())
        self.message_user(request, f"{count} revoked.")


admin.site.register(SiteNotice)

"""Access tokens in the admin pages: look at them, let them expire, revoke them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from brickledger.models import ApiToken, SiteNotice

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _TokenAdmin = admin.ModelAdmin[ApiToken]
else:
    _TokenAdmin = admin.ModelAdmin


@admin.register(ApiToken)
class ApiTokenAdmin(_TokenAdmin):
    """Tokens are made on their own page and by ``issue_token``: the key is shown only once."""

    list_display = (
        *("name", "prefix", "user", "role", "created_at"),
        *("last_used_at", "expires_at", "revoked_at"),
    )
    readonly_fields = tuple(name for name in list_display if name != "expires_at")
    fields = (*readonly_fields, "expires_at")
    actions = ("revoke",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never: see the class."""
        return False

    @admin.action(description="Revoke the selected tokens at once", permissions=["change"])
    def revoke(self, request: HttpRequest, tokens: QuerySet[ApiToken]) -> None:
        """Stop them from opening anything; those revoked before keep their time."""
        count = ApiToken.objects.filter(pk__in=tokens).revoke()
        self.message_user(request, f"{count} revoked.")


admin.site.register(SiteNotice)

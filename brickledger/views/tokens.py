"""The keys of a person's programs: making one, seeing them, taking one back."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from brickledger.models import ApiToken
from brickledger.roles import role_of, roles_up_to
from catalog.forms import FilterForm

PAGE_SIZE = 100
DAYS = (("30", "30 days"), ("90", "90 days"), ("365", "a year"), ("", "no end"))
USUAL_DAYS = "90"
EVERYBODY = "everybody"
MAY_DO = {
    "reader": "reader: reads what is published",
    "reviewer": "reviewer: hands in runs, describes adapters",
    "editor": "editor: also accepts runs and publishes",
}


class TokenForm(forms.Form):
    """What a token is for, what it may do and for how long."""

    name = forms.CharField(
        label="What it is for",
        max_length=100,
        help_text="The program or instrument that will send it, such as bench logger.",
    )
    role = forms.ChoiceField(label="May do what a", help_text="Never more than your own account.")
    days = forms.ChoiceField(label="Good for", choices=DAYS, required=False)
    form_id = forms.UUIDField(
        label="This form",
        widget=forms.HiddenInput,
        error_messages={"required": "It came without its number; open the page anew."},
    )

    def __init__(self, data: Any = None, *, role: str) -> None:
        super().__init__(data, initial={"role": role, "days": USUAL_DAYS, "form_id": uuid.uuid4()})
        choices = self.fields["role"]
        assert isinstance(choices, forms.ChoiceField)
        choices.choices = [(name, MAY_DO[name]) for name in roles_up_to(role)]


class TokenFilterForm(FilterForm):
    """Whose tokens are listed."""

    of = forms.ChoiceField(choices=[("", "mine"), (EVERYBODY, "everybody’s")], required=False)


@never_cache
@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """The tokens of whoever asks, and the form for another."""
    role = role_of(_person(request))
    if request.method != "POST":
        return _page(request, form=TokenForm(role=role))
    form = TokenForm(request.POST, role=role)
    if not form.is_valid():
        return _page(request, form=form, status=400)
    try:
        key = _issue(form, by=_person(request))
    except IntegrityError:  # sent twice, or sent again by reloading the page that showed the key
        messages.warning(
            request,
            "This form was sent before and its token is made. A key is shown once; if it was not "
            "noted then, revoke the token and make another.",
        )
        return redirect("tokens")
    # Shown in this answer and nowhere else: not kept in the session, not put into an address.
    made = {"key": key, "name": form.cleaned_data["name"]}
    return _page(request, form=TokenForm(role=role), made=made)


@never_cache
@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def token_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask whether a token is to be taken back, and take it back."""
    found = get_object_or_404(_seen_by(request), pk=pk)
    is_own = found.user_id == _person(request).pk
    if request.method == "POST":
        if ApiToken.objects.filter(pk=found.pk).revoke():
            messages.success(request, f"“{found.name}” is revoked and opens nothing any more.")
        else:
            messages.info(request, f"“{found.name}” was revoked before.")
        response = redirect("tokens")
        if not is_own:
            response["Location"] += f"?of={EVERYBODY}"
        return response
    context = {"section": "account", "token": found, "is_own": is_own}
    return render(request, "brickledger/token_revoke.html", context)


def _issue(form: TokenForm, *, by: User) -> str:
    said = form.cleaned_data
    days = said["days"]
    with transaction.atomic():
        return ApiToken.issue(
            name=said["name"],
            user=by,
            role=said["role"],
            expires_at=timezone.now() + timedelta(days=int(days)) if days else None,
            form_id=said["form_id"],
        )


def _person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def _sees_all(request: HttpRequest) -> bool:
    return _person(request).has_perm("brickledger.change_apitoken")


def _seen_by(request: HttpRequest) -> QuerySet[ApiToken]:
    seen = ApiToken.objects.select_related("user")
    return seen if _sees_all(request) else seen.filter(user=_person(request))


def _page(
    request: HttpRequest, *, form: TokenForm, made: dict[str, str] | None = None, status: int = 200
) -> HttpResponse:
    listing = TokenFilterForm(request.GET)
    page = None
    of_everybody = False
    if listing.is_valid():
        of_everybody = bool(listing.cleaned_data["of"]) and _sees_all(request)
        listed = _seen_by(request).order_by("-created_at", "-pk")
        if not of_everybody:
            listed = listed.filter(user=_person(request))
        page = listing.page_of(listed, size=PAGE_SIZE)
    context = {
        "section": "account",
        "form": form,
        "made": made,
        "listing": listing,
        "page": page,
        "of_everybody": of_everybody,
        "sees_all": _sees_all(request),
    }
    return render(
        request, "brickledger/tokens.html", context, status=status if page is not None else 400
    )

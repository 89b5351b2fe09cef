"""One search over everything that has a name."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from comparisons.forms import unknown_parameters
from comparisons.queries.search import GROUPS, search


class SearchForm(forms.Form):
    """What is looked for, and in which group alone."""

    q = forms.CharField(
        label="Look for",
        required=False,
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search"}),
    )
    only = forms.ChoiceField(
        choices=[("", "everything"), *GROUPS.items()], required=False, label="in"
    )

    def add_prefix(self, field_name: str) -> str:
        """`in` is no name for a field of a class, and the best one in an address."""
        return "in" if field_name == "only" else field_name


@require_safe
def search_page(request: HttpRequest) -> HttpResponse:
    """Makers, adapters, devices, metrics and words that fit what was asked for."""
    form = SearchForm(request.GET, label_suffix="")
    form.is_valid()
    for sentence in unknown_parameters(request.GET, known=("q", "in")):
        form.add_error(None, sentence)
    context = {"section": "", "form": form, "asked": "", "groups": ()}
    if form.errors:
        return render(request, "comparisons/search.html", context, status=400)
    asked, only = form.cleaned_data["q"], form.cleaned_data["only"]
    if asked:
        context |= {
            "asked": asked,
            "only": only,
            "groups": search(asked, viewer=request.user, only=only),
        }
    return render(request, "comparisons/search.html", context)

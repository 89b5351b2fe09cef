"""What is said about an attachment: one form for page and API."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from catalog.rest.fields import fault_of_plain
from measurements.intake.pictures import MOST_BYTES
from measurements.models import Attachment


class AttachmentForm(forms.Form):
    """A picture or document with its kind and title."""

    kind = forms.ChoiceField(
        label="What it is",
        choices=Attachment.Kind.choices,
        error_messages={
            "invalid_choice": f"Write one of: {', '.join(Attachment.Kind.values)}.",
            "required": f"Say what it is, one of: {', '.join(Attachment.Kind.values)}.",
        },
    )
    title = forms.CharField(
        max_length=200,
        help_text="What is to be seen, such as “Label on the underside” or “Ripple at 20 V, 3 A, "
        "20 MHz limit”. It is also read aloud in place of the picture.",
        error_messages={"required": "Say in a few words what is to be seen."},
    )
    file = forms.FileField(
        help_text=f"PNG, JPEG, WebP or PDF, up to {MOST_BYTES >> 20} MiB.",
        widget=forms.ClearableFileInput(attrs={"accept": ".png,.jpg,.jpeg,.webp,.pdf"}),
        error_messages={
            "required": "Choose the picture or document.",
            "empty": "The file is empty: it has no bytes.",
        },
    )

    def clean_title(self) -> str:
        """One line that every database can hold."""
        title = " ".join(str(self.cleaned_data["title"]).split())
        if fault := fault_of_plain(title):
            raise forms.ValidationError(fault)
        return title

    def clean_file(self) -> UploadedFile[bytes]:
        """Refuse what is too large before it is read."""
        sent: UploadedFile[bytes] = self.cleaned_data["file"]
        if (sent.size or 0) > MOST_BYTES:
            raise forms.ValidationError(
                f"The file is larger than {MOST_BYTES >> 20} MiB. Save the picture smaller, or "
                "the document with smaller pictures in it."
            )
        return sent

    @property
    def said(self) -> dict[str, Any]:
        """What `attaching.attach` takes from it, once it is valid."""
        sent: UploadedFile[bytes] = self.cleaned_data["file"]
        return {
            "content": sent.read(),
            "kind": self.cleaned_data["kind"],
            "title": self.cleaned_data["title"],
            "file_name": sent.name or "",
        }


class TakeOffForm(forms.Form):
    """Why an attachment is taken off."""

    reason = forms.CharField(
        max_length=500,
        help_text="Kept beside it. Of a run, readers see it in the history.",
        error_messages={"required": "Say why it is taken off."},
    )

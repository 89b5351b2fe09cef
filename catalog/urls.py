"""Addresses of the catalogue. The list of adapters and their pages belong to the comparisons."""

from __future__ import annotations

from django.urls import path

from catalog import views

urlpatterns = [
    path("adapters/new/", views.adapter_add, name="adapter-add"),
    path("adapters/<slug:slug>/edit/", views.adapter_edit, name="adapter-edit"),
    path("devices/", views.device_list, name="device-list"),
    path("devices/new/", views.device_add, name="device-add"),
    path("devices/<slug:slug>/edit/", views.device_edit, name="device-edit"),
    path("decode/", views.decode, name="decode"),
]

"""Tests cut by hand what a power cut would: they need not wait for the disk."""

from __future__ import annotations

import os

import pytest


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda handle: None)

"""Fixtures of the page's tests: a broker of our own, and somebody who listens to it."""

from __future__ import annotations

from tests.edges.conftest import broker, listener

__all__ = ("broker", "listener")

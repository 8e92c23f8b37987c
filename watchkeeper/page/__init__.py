"""The page: served to pilot, observer and command post over HTTP."""

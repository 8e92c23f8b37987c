"""After a flight: what happened, as one page that needs no network."""

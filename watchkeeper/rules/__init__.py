"""Rule packs: the language of conditions, loading, checking, verdicts, cases."""

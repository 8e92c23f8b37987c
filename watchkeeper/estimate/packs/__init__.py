"""What packs still hold, one by one and together."""
